// The table of features: sorted by any column, rows that lead to the view.

const COLLATOR = new Intl.Collator("en", { numeric: true, sensitivity: "base" });

function key(row, column) {
  const cell = row.cells[column];
  return cell.dataset.value ?? cell.textContent.trim();
}

function compare(a, b) {
  // Of a range, "3.2 to 3.4", the lower end counts.
  const [x, y] = [Number(a.split(" ")[0]), Number(b.split(" ")[0])];
  const numbers = a !== "" && b !== "" && !Number.isNaN(x) && !Number.isNaN(y);
  return numbers ? x - y : COLLATOR.compare(a, b);
}

/** Put a button into each head; empty cells stay last either way. */
export function makeSortable(table) {
  const heads = [...table.tHead.rows[0].cells];
  const body = table.tBodies[0];
  for (const [column, head] of heads.entries()) {
    if (head.dataset.sort === "no") continue;
    const button = document.createElement("button");
    button.type = "button";
    button.className = "sort";
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => {
      const way = head.getAttribute("aria-sort") === "ascending" ? -1 : 1;
      for (const other of heads) other.removeAttribute("aria-sort");
      head.setAttribute("aria-sort", way === 1 ? "ascending" : "descending");
      const rows = [...body.rows].map((row) => [key(row, column), row]);
      rows.sort(
        ([a], [b]) => (a === "") - (b === "") || way * compare(a, b),
      );
      body.append(...rows.map(([, row]) => row));
    });
  }
}

/** Make each row's name a button, and the whole row a target for the pointer.
 *  Returns the rows of each feature. */
export function makeRowsLead(tables, choose) {
  const rows = new Map();
  for (const row of [...tables].flatMap((table) => [...table.tBodies[0].rows])) {
    const name = row.querySelector(".id");
    const button = document.createElement("button");
    button.type = "button";
    button.className = "id";
    button.textContent = name.textContent;
    button.title = "Show in the 3D view";
    name.replaceWith(button);
    row.addEventListener("click", (event) => {
      const isOther = event.target.closest("a, select, input, label, button:not(.id)");
      const isMarking = String(window.getSelection()) !== "";
      if (!isOther && !isMarking) choose(row.dataset.feature);
    });
    const { feature } = row.dataset;
    rows.set(feature, [...(rows.get(feature) ?? []), row]);
  }
  return rows;
}
