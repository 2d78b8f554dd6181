// Runs before the first paint: the person's choice of light or dark, and a mark that scripts run at all.
(() => {
  const root = document.documentElement;
  root.dataset.js = "";
  const stored = () => {
    try {
      return localStorage.getItem("theme");
    } catch {
      return null; // storage refused: follow the device
    }
  };
  const show = (theme) => {
    if (theme === "light" || theme === "dark") root.dataset.theme = theme;
    else delete root.dataset.theme;
  };
  show(stored());
  document.addEventListener("click", (event) => {
    if (!event.target.closest("[data-theme-step]")) return;
    const dark = root.dataset.theme ? root.dataset.theme === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
    const theme = dark ? "light" : "dark";
    show(theme);
    try {
      localStorage.setItem("theme", theme);
    } catch {
      // not kept, still shown
    }
  });
})();
