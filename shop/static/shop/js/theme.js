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
  const contrast = (set) => {
    try {
      if (set === undefined) return localStorage.getItem("contrast") === "more";
      localStorage.setItem("contrast", set ? "more" : "");
    } catch {
      // not kept, still shown
    }
    return Boolean(set);
  };
  const showContrast = (more) => {
    if (more) root.dataset.contrast = "more";
    else delete root.dataset.contrast;
    for (const button of document.querySelectorAll("[data-contrast-step]")) button.setAttribute("aria-pressed", String(more));
  };
  showContrast(contrast());
  document.addEventListener("DOMContentLoaded", () => showContrast(contrast()));
  document.addEventListener("htmx:afterSettle", () => showContrast(contrast()));
  document.addEventListener("click", (event) => {
    if (event.target.closest("[data-contrast-step]")) showContrast(contrast(!("contrast" in root.dataset)));
  });
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
