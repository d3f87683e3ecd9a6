// Reads values off a picture: point at it, tap it, or move the slider with the arrow keys. A tap on
// the name of a curve brings it forward. Without this file, the table behind each picture and the
// links beneath it do the same.
"use strict";
(() => {
  const SVG = "http://www.w3.org/2000/svg";
  const text = (cell) => cell.textContent.trim();

  // The table as moments: where each lies on the axis, its name, and what each curve has there.
  const moments = (table) => {
    const heads = [...table.tHead.rows[0].cells];
    const rows = [...table.tBodies[0].rows];
    if (rows[0]?.dataset.at !== undefined) {
      return rows.map((row) => ({
        at: Number(row.dataset.at),
        when: text(row.cells[0]),
        values: [...row.cells].slice(1).map((cell, k) => ({ name: text(heads[k + 1]), value: text(cell) })),
      }));
    }
    return heads.slice(1).map((head, k) => ({
      at: Number(head.dataset.at),
      when: text(head),
      values: rows.map((row) => ({
        name: text(row.cells[0]), value: text(row.cells[k + 1]), curve: row.dataset.curve,
      })),
    }));
  };

  const prepare = (figure) => {
    const table = figure.querySelector("table.values");
    const drawn = [...figure.querySelectorAll("svg[data-axis]")];
    if (!table || !drawn.length || figure.querySelector(".read-off")) return;
    const known = moments(table);
    const section = figure.closest("section") ?? figure;
    const names = [...section.querySelectorAll("a[data-curve]")];
    const axes = drawn.map((svg) => {
      const [left, right, low, high, top, bottom] = svg.dataset.axis.split(" ").map(Number);
      const cursor = document.createElementNS(SVG, "path");
      cursor.setAttribute("class", "cursor");
      svg.append(cursor);
      return { svg, left, right, low, high, top, bottom, cursor };
    });
    const slider = Object.assign(document.createElement("input"), {
      type: "range", min: 0, max: known.length - 1, step: 1, value: 0,
    });
    slider.setAttribute("aria-label", wordings.here("Read the picture at"));
    const said = Object.assign(document.createElement("p"), { className: "read-out" });
    const box = Object.assign(document.createElement("div"), { className: "read-off" });
    box.append(slider, said);
    drawn.at(-1).after(box);

    const inFront = () => names.filter((name) => name.getAttribute("aria-current") === "true")
      .map((name) => name.dataset.curve);
    const tell = () => {
      const now = known[slider.valueAsNumber];
      const front = inFront();
      const shown = now.values.filter((one) => !one.curve || front.includes(one.curve));
      const words = `${now.when}: ${shown.filter((one) => one.value).map((one) => `${one.name} ${one.value}`).join("; ")}`;
      said.textContent = words;
      slider.setAttribute("aria-valuetext", words);
      for (const { left, right, low, high, top, bottom, cursor } of axes) {
        const x = left + ((now.at - low) / (high - low)) * (right - left);
        cursor.setAttribute("d", now.at < low || now.at > high ? "" : `M${x} ${top}V${bottom}`);
      }
    };
    const point = (axis, event) => {
      const box = axis.svg.getBoundingClientRect();
      const x = ((event.clientX - box.left) / box.width) * axis.svg.viewBox.baseVal.width;
      const at = axis.low + ((x - axis.left) / (axis.right - axis.left)) * (axis.high - axis.low);
      const off = known.map((one) => Math.abs(one.at - at));
      slider.value = off.indexOf(Math.min(...off));
      tell();
    };
    for (const axis of axes) {
      axis.svg.addEventListener("pointermove", (event) => point(axis, event));
      axis.svg.addEventListener("pointerdown", (event) => point(axis, event));
    }
    slider.addEventListener("input", tell);
    for (const name of names) {
      name.addEventListener("click", (event) => {
        event.preventDefault();
        const front = name.getAttribute("aria-current") !== "true";
        name.setAttribute("aria-current", String(front));
        const key = CSS.escape(name.dataset.curve);
        for (const curve of section.querySelectorAll(`path[data-curve="${key}"]`)) {
          curve.classList.toggle("front", front);
          if (front) curve.parentNode.append(curve);
        }
        tell();
      });
    }
    slider.value = Math.min(1, known.length - 1);
    tell();
  };

  const all = () => document.querySelectorAll("figure").forEach(prepare);
  document.addEventListener("redrawn", all);
  all();
})();
