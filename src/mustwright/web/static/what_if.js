// Redraws the forecast while a slider moves. Without this file the button does the same.
"use strict";
(() => {
  const form = document.getElementById("knobs");
  const answer = document.getElementById("answer");
  if (!form || !answer) return;
  const page = form.getAttribute("action");
  const number = /^-?\d+(?:[.,]\d+)?$/;
  const rest = 120; // ms without a change before the server is asked
  let timer = 0;
  let asking = null;

  const ask = async () => {
    asking?.abort();
    asking = new AbortController();
    const query = new URLSearchParams(new FormData(form));
    try {
      const reply = await fetch(`${page}?${query}&fragment=1`, { signal: asking.signal });
      answer.innerHTML = await reply.text();
      document.dispatchEvent(new Event("redrawn"));
      answer.removeAttribute("aria-busy");
      history.replaceState(null, "", `${page}?${query}`);
    } catch (error) {
      if (error.name === "AbortError") return;
      answer.removeAttribute("aria-busy");
      answer.textContent = wordings.here("The pages do not answer: is Mustwright still running?");
    }
  };

  const later = () => {
    answer.setAttribute("aria-busy", "true");
    clearTimeout(timer);
    timer = setTimeout(ask, rest);
  };

  for (const slider of form.querySelectorAll("input[type=range]")) {
    const field = form.elements.namedItem(slider.dataset.for);
    const digits = (slider.step.split(".")[1] || "").length;
    slider.hidden = false;
    slider.addEventListener("input", () => {
      field.value = slider.valueAsNumber.toFixed(digits);
      later();
    });
    field.addEventListener("input", () => {
      const typed = field.value.trim();
      if (number.test(typed)) slider.value = typed.replace(",", ".");
      later();
    });
  }
})();
