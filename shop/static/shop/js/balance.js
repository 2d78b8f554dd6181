// Adds the parts up while they are typed and says what is not accounted for. The server counts again.
//
// <form data-balance> <input data-balance-whole> <input data-balance-part> ... <p data-balance-answer data-word-even data-word-short data-word-over>

const whole = (input) => (/^[0-9]+$/.test(input.value.trim()) ? Number(input.value) : NaN);

function answer(form) {
  const place = form.querySelector("[data-balance-answer]");
  const made = form.querySelector("[data-balance-whole]");
  if (!place || !made) return;
  const sum = [...form.querySelectorAll("[data-balance-part]")].reduce((total, input) => total + whole(input), 0);
  const left = whole(made) - sum;
  if (Number.isNaN(left)) return;
  place.dataset.state = left === 0 ? "even" : "odd";
  const { wordEven, wordShort, wordOver } = place.dataset;
  place.textContent = left === 0 ? wordEven : `${left > 0 ? wordShort : wordOver} ${Math.abs(left)}`;
}

document.addEventListener("input", (event) => {
  const form = event.target.closest?.("form[data-balance]");
  if (form) answer(form);
});

const answerAll = () => document.querySelectorAll("form[data-balance]").forEach(answer);

document.addEventListener("htmx:afterSwap", answerAll);
answerAll();
