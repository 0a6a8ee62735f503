// Ranges that are selected on the axes restrict the runs in the figure and in the table.
"use strict";
(() => {
  const svg = document.querySelector("svg.parallel");
  if (!svg) return;
  const { positions, rows } = JSON.parse(document.getElementById("positions").textContent);
  const lines = [...svg.querySelectorAll("path.run")];
  const table = new Map([...document.querySelectorAll("tr[data-row]")].map((tr) => [Number(tr.dataset.row), tr]));
  const count = document.getElementById("count");
  const ranges = new Map();

  const update = () => {
    let selected = 0;
    lines.forEach((line, i) => {
      const inside = [...ranges].every(([k, [low, high]]) => positions[i][k] !== null && positions[i][k] >= low && positions[i][k] <= high);
      line.classList.toggle("unselected", !inside);
      const row = table.get(rows[i]);
      if (row) row.hidden = !inside;
      selected += inside;
    });
    count.textContent = ranges.size ? `${selected} of ${lines.length} runs are selected.` : "";
  };

  svg.querySelectorAll("g.axis").forEach((axis) => {
    const handle = axis.querySelector(".handle");
    const brush = axis.querySelector(".brush");
    const height = Number(brush.getAttribute("height"));
    const number = Number(axis.dataset.axis);
    const position = (event) => {
      const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(axis.getScreenCTM().inverse());
      return Math.min(1, Math.max(0, 1 - point.y / height));
    };
    let start = null;
    handle.addEventListener("pointerdown", (event) => { start = position(event); handle.setPointerCapture(event.pointerId); });
    handle.addEventListener("pointermove", (event) => {
      if (start === null) return;
      const end = position(event);
      const [low, high] = [Math.min(start, end), Math.max(start, end)];
      if (high - low < 0.01) return;
      ranges.set(number, [low, high]);
      brush.setAttribute("y", height * (1 - high));
      brush.setAttribute("height", height * (high - low));
      brush.setAttribute("visibility", "visible");
      update();
    });
    handle.addEventListener("pointerup", (event) => {
      if (start !== null && Math.abs(position(event) - start) < 0.01) {
        ranges.delete(number);
        brush.setAttribute("visibility", "hidden");
        update();
      }
      start = null;
    });
  });
})();
