// Tables: sorted by any column, by heads or, where rows are cards, by a list.

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

// As wide as in report.css, where tables turn into cards.
const CARDS = window.matchMedia("(max-width: 46rem)");

function made(tag, properties, ...children) {
  const element = Object.assign(document.createElement(tag), properties);
  element.append(...children);
  return element;
}

/** Words of a head on one line, without what only breaks it there. */
function wordsOf(head) {
  const parts = [...head.childNodes].map((n) => (n.nodeName === "BR" ? " " : n.textContent));
  return parts.join("").replaceAll("\u00ad", "").replace(/\s+/g, " ").trim();
}

/** A table whose rows are put in order; empty cells stay last either way. */
class Sorted {
  constructor(table) {
    this.body = table.tBodies[0];
    this.heads = [...table.tHead.rows[0].cells];
    this.drawn = [...this.body.rows];
    this.words = this.heads.map(wordsOf);
    this.buttons = this.heads.map((head, column) => this.button(head, column));
    table.before(this.list());
    const reach = () => {
      // Heads are out of sight where rows are cards: no key may lead there.
      for (const button of this.buttons) button.tabIndex = CARDS.matches ? -1 : 0;
    };
    CARDS.addEventListener("change", reach);
    reach();
  }

  button(head, column) {
    const button = made("button", { type: "button", className: "sort" }, ...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => {
      this.sort(column, head.getAttribute("aria-sort") === "ascending" ? -1 : 1);
    });
    return button;
  }

  /** A list of the columns and a button for the way, for rows that are cards. */
  list() {
    const options = this.words.map((text, column) =>
      made("option", { value: String(column) }, text),
    );
    const first = made("option", { value: "" }, "as listed");
    this.choice = made("select", {}, first, ...options);
    this.turn = made("button", { type: "button" });
    this.choice.addEventListener("change", () => this.sort(this.chosen(), 1));
    this.turn.addEventListener("click", () => this.sort(this.chosen(), -this.way));
    this.tell(null, 1);
    const label = made("label", {}, "Sort by ", this.choice);
    return made("div", { className: "sorter" }, label, " ", this.turn);
  }

  chosen() {
    return this.choice.value === "" ? null : Number(this.choice.value);
  }

  /** Put rows in the order of a column, or as they were drawn. */
  sort(column, way) {
    const rows = this.drawn.map((row) => [column === null ? "" : key(row, column), row]);
    rows.sort(([a], [b]) => (a === "") - (b === "") || way * compare(a, b));
    this.body.append(...rows.map(([, row]) => row));
    this.tell(column, way);
  }

  tell(column, way) {
    this.way = way;
    const order = way === 1 ? "ascending" : "descending";
    for (const [n, head] of this.heads.entries()) {
      if (n === column) head.setAttribute("aria-sort", order);
      else head.removeAttribute("aria-sort");
    }
    this.choice.value = column === null ? "" : String(column);
    this.turn.disabled = column === null;
    this.turn.textContent = way === 1 ? "\u25b2 ascending" : "\u25bc descending";
  }
}

/** Let all tables that are marked for it be sorted. */
export function sortTables() {
  for (const table of document.querySelectorAll("table.sortable")) new Sorted(table);
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
