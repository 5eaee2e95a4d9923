"use strict";
/* Sort the table by the heading that is pressed; again for the other way round. */
(() => {
  const table = document.getElementById("files"), body = table.tBodies[0];
  table.tHead.querySelectorAll("button").forEach((button, column) => {
    button.addEventListener("click", () => {
      const up = button.dataset.up !== "yes";
      button.dataset.up = up ? "yes" : "no";
      const value = (row) => row.cells[column].dataset.sort, number = (v) => !Number.isNaN(Number(v));
      const rows = [...body.rows].sort((a, b) => {
        const [x, y] = [value(a), value(b)];
        const order = number(x) && number(y) ? x - y : x.localeCompare(y);
        return up ? order : -order;
      });
      body.append(...rows);
      for (const th of table.tHead.rows[0].cells) th.removeAttribute("aria-sort");
      button.parentElement.setAttribute("aria-sort", up ? "ascending" : "descending");
    });
  });
})();
