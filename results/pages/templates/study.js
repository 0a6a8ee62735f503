// Ranges drawn on the axes leave only the runs within them, in the figure and in the table.
"use strict";
(() => {
  const svg = document.querySelector("svg.parallel");
  if (!svg) return;
  const { places, rows } = JSON.parse(document.getElementById("places").textContent);
  const lines = [...svg.querySelectorAll("path.run")];
  const table = new Map([...document.querySelectorAll("tr[data-row]")].map((tr) => [Number(tr.dataset.row), tr]));
  const told = document.getElementById("told");
  const ranges = new Map();

  const show = () => {
    let left = 0;
    lines.forEach((line, i) => {
      const inside = [...ranges].every(([k, [low, high]]) => places[i][k] !== null && places[i][k] >= low && places[i][k] <= high);
      line.classList.toggle("off", !inside);
      const row = table.get(rows[i]);
      if (row) row.hidden = !inside;
      left += inside;
    });
    told.textContent = ranges.size ? `${left} of ${lines.length} runs` : "";
  };

  svg.querySelectorAll("g.axis").forEach((axis) => {
    const grip = axis.querySelector(".grip");
    const brush = axis.querySelector(".brush");
    const height = Number(brush.getAttribute("height"));
    const number = Number(axis.dataset.axis);
    const place = (event) => {
      const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(axis.getScreenCTM().inverse());
      return Math.min(1, Math.max(0, 1 - point.y / height));
    };
    let start = null;
    grip.addEventListener("pointerdown", (event) => { start = place(event); grip.setPointerCapture(event.pointerId); });
    grip.addEventListener("pointermove", (event) => {
      if (start === null) return;
      const end = place(event);
      const [low, high] = [Math.min(start, end), Math.max(start, end)];
      if (high - low < 0.01) return;
      ranges.set(number, [low, high]);
      brush.setAttribute("y", height * (1 - high));
      brush.setAttribute("height", height * (high - low));
      brush.setAttribute("visibility", "visible");
      show();
    });
    grip.addEventListener("pointerup", (event) => {
      if (start !== null && Math.abs(place(event) - start) < 0.01) {
        ranges.delete(number);
        brush.setAttribute("visibility", "hidden");
        show();
      }
      start = null;
    });
  });
})();
