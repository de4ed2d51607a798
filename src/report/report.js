"use strict";
(() => {
  const table = document.getElementById("take-table");
  const tools = document.getElementById("tools");
  if (!table || !tools) return;
  const body = table.tBodies[0];
  const rows = Array.from(body.rows);
  const heads = Array.from(table.tHead.rows[0].cells);
  const search = document.getElementById("search");
  const show = document.getElementById("show");
  const count = document.getElementById("count");
  const order = new Intl.Collator("en", { numeric: true, sensitivity: "base" });
  const texts = new Map(rows.map((row) => [row, row.textContent.toLowerCase()]));

  const filter = () => {
    const words = search.value.toLowerCase().split(/\s+/).filter(Boolean);
    let shown = 0;
    for (const row of rows) {
      const fits = (!show.value || row.dataset.verdict === show.value) && words.every((word) => texts.get(row).includes(word));
      row.hidden = !fits;
      shown += fits;
    }
    count.textContent = shown + " of " + rows.length + (rows.length === 1 ? " take" : " takes");
  };

  const keyOf = (row, column) => {
    const cell = row.cells[column];
    return "key" in cell.dataset ? cell.dataset.key : cell.textContent;
  };
  const compare = (a, b, numeric) => {
    if (!numeric) return order.compare(a, b);
    if (a === "" || b === "") return (a === "") - (b === "");
    return Number(a) - Number(b);
  };
  const sort = (column) => {
    const head = heads[column];
    const down = head.getAttribute("aria-sort") === "ascending";
    const numeric = rows.length > 0 && "key" in rows[0].cells[column].dataset;
    for (const other of heads) other.removeAttribute("aria-sort");
    head.setAttribute("aria-sort", down ? "descending" : "ascending");
    const sorted = rows.map((row, place) => ({ row, place, key: keyOf(row, column) }));
    sorted.sort((a, b) => (down ? -1 : 1) * compare(a.key, b.key, numeric) || a.place - b.place);
    body.append(...sorted.map((item) => item.row));
  };

  heads.forEach((head, column) => {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = head.textContent;
    button.addEventListener("click", () => sort(column));
    head.replaceChildren(button);
  });
  search.addEventListener("input", filter);
  show.addEventListener("change", filter);
  tools.hidden = false;
  filter();
})();
