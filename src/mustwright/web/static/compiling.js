// Shows how far the compiling of the forecast is, and the forecast once it is there.
"use strict";
(() => {
  const box = document.querySelector("[data-compiling]");
  if (!box) return;
  const bar = box.querySelector("progress"), words = box.querySelector("span");
  const look = async () => {
    try {
      const said = await (await fetch("/health", { cache: "no-store" })).json();
      if (said.forecast === "compiling" && said.compiling) {
        bar.value = 100 * said.compiling.part;
        words.textContent = wordings.here("{done} % done, about {left} s left.",
          { done: Math.round(bar.value), left: Math.max(said.compiling.left_s, 1) });
        bar.setAttribute("aria-valuetext", words.textContent);
      } else if (said.forecast !== "compiling") {
        return location.reload();
      }
    } catch {
      // The pages do not answer just now.
    }
    setTimeout(look, 1000);
  };
  setTimeout(look, 1000);
})();
