// The plan made by pointing: an intent chosen for each feature, saved as plan.toml.
// Every size, limit and chance was computed by Python; here, a typed value at most is
// added to a size that came with it.

import { save } from "./files.js";

const NUMBER = /^[+-]?\d+([.,]\d*)?$/;
const MINUS = "\u2212";
const DASH = "\u2013";

function size(value) {
  return value === undefined || value === null ? DASH : value.toFixed(3).replace("-", MINUS);
}

function range(ends) {
  return ends ? `${size(ends[0])} to ${size(ends[1])}` : DASH;
}

function element(name, properties, ...children) {
  const made = Object.assign(document.createElement(name), properties);
  made.append(...children);
  return made;
}

function number(text) {
  return NUMBER.test(text.trim()) ? Number(text.trim().replace(",", ".")) : null;
}

/** What was typed, brought to the intent: its value as TOML and the target, or null. */
export function typedWish(offer, values) {
  const [least, most] = values;
  if (least === null || most === null) return null;
  if (offer.typed === "size") {
    return least > 0 ? { value: String(least), target: least } : null;
  }
  if (least > most || (offer.typed === "gap" && least < 0)) return null;
  const value = least === most ? String(least) : `[${least}, ${most}]`;
  const middle = (least + most) / 2;
  const target = offer.typed === "clearance" ? offer.base + offer.sign * middle : null;
  return { value, target };
}

class Wish {
  constructor(feature, list) {
    this.feature = feature;
    this.offers = [feature.stated, ...list];
    this.index = 0;
    this.values = [null, null];
  }

  get offer() {
    return this.offers[this.index];
  }

  /** The keys of the intent as lines of TOML; null where a value is missing. */
  lines() {
    const { keys, typed } = this.offer;
    if (!typed) return (keys ?? []).map(([key, value]) => `${key} = ${value}`);
    const wish = typedWish(this.offer, this.values);
    if (wish === null) return null;
    return keys.map(([key, value]) => `${key} = ${key === typed ? wish.value : value}`);
  }
}

/** The whole plan file: features of which the same is wanted stand together. */
function plan(head, part, wishes) {
  const groups = new Map();
  for (const wish of wishes) {
    const text = wish.lines().join("\n");
    if (text !== "") groups.set(text, [...(groups.get(text) ?? []), wish.feature.id]);
  }
  const blocks = [...groups].map(([text, ids]) => {
    const pick = ids.length === 1 ? JSON.stringify(ids[0]) : JSON.stringify(ids);
    return `[[intent]]\npick = ${pick}\n${text}\n`;
  });
  const title = `# What the features of ${part} are for, as chosen in its report.\n`;
  return [title + head, ...blocks].join("\n");
}

function options(offers) {
  const groups = new Map();
  offers.forEach((offer, i) => {
    const option = element("option", { value: String(i), textContent: offer.label });
    groups.set(offer.group ?? "", [...(groups.get(offer.group ?? "") ?? []), option]);
  });
  return [...groups].flatMap(([group, list]) =>
    group === "" ? list : [element("optgroup", { label: group }, ...list)],
  );
}

export class Plan {
  constructor(data) {
    this.data = data;
    this.wishes = data.features.map((f) => new Wish(f, data.lists[f.list]));
    this.rows = new Map();
    this.table = document.getElementById("plan-table");
    this.state = document.getElementById("plan-state");
    for (const wish of this.wishes) this.table.tBodies[0].append(this.row(wish));
    document.getElementById("save-plan").addEventListener("click", () => this.save());
    this.table.closest("section").hidden = false;
    this.onChange = () => {};
  }

  row(wish) {
    const { id, kind } = wish.feature;
    const row = element("tr");
    row.setAttribute("role", "row");
    row.dataset.feature = id;
    const name = element("span", { className: "id", textContent: id });
    const head = element("th", { scope: "row" }, name, " ", element("small", { textContent: kind }));
    head.setAttribute("role", "rowheader");
    const list = element("select", {}, ...options(wish.offers));
    list.setAttribute("aria-label", `Intent of ${id}`);
    list.addEventListener("change", () => this.choose(wish, Number(list.value)));
    const typed = element("span", { className: "typed" });
    const alike = this.alikeButton(wish);
    const cell = element("td", { className: "wish" }, list, typed, ...alike);
    cell.setAttribute("role", "cell");
    const numbers = ["target", "wanted", "95 % of prints", "chance"].map((title) => {
      const td = element("td", { className: "n" });
      td.setAttribute("role", "cell");
      td.dataset.name = title;
      return td;
    });
    const note = element("small", { className: "notes" });
    cell.append(note);
    row.append(head, cell, ...numbers);
    this.rows.set(id, { row, list, typed, numbers, note });
    this.show(wish);
    return row;
  }

  alikeButton(wish) {
    const { list, kind, size: own } = wish.feature;
    const alike = this.wishes.filter(
      ({ feature }) => feature.list === list && feature.kind === kind && own !== undefined,
    );
    if (alike.length < 2) return [];
    const words = `the same for all ${alike.length} of ${own} mm`;
    const button = element("button", { type: "button", textContent: words });
    button.addEventListener("click", () => {
      for (const other of alike) {
        if (other === wish) continue;
        const same = other.offers.findIndex(
          ({ label, keys }) =>
            label === wish.offer.label || String(keys) === String(wish.offer.keys),
        );
        if (same < 0) continue;
        other.values = [...wish.values];
        this.choose(other, same);
      }
    });
    return [button];
  }

  choose(wish, index) {
    wish.index = index;
    this.fields(wish);
    this.show(wish);
    this.onChange(wish.feature.id);
  }

  /** Fields for the values that are still to be given. */
  fields(wish) {
    const { typed } = this.rows.get(wish.feature.id);
    const kind = wish.offer.typed;
    typed.replaceChildren();
    if (!kind) return;
    const titles = kind === "size" ? ["size, mm"] : ["least", "most, mm"];
    const inputs = titles.map((title, i) => {
      const value = wish.values[i] ?? (kind === "size" ? wish.feature.size : null);
      const input = element("input", { value: value ?? "", autocomplete: "off" });
      input.setAttribute("aria-label", `${wish.feature.id}: ${kind}, ${title}`);
      input.inputMode = "decimal";
      return input;
    });
    const take = () => {
      const values = inputs.map((input) => number(input.value));
      wish.values = kind === "size" ? [values[0], values[0]] : values;
      this.show(wish);
    };
    for (const input of inputs) input.addEventListener("input", take);
    typed.append(...inputs.flatMap((input, i) => [input, titles[i]]));
    take();
  }

  show(wish) {
    const { row, list, numbers, note } = this.rows.get(wish.feature.id);
    const { offer } = wish;
    list.value = String(wish.index);
    row.classList.toggle("chosen", wish.index !== 0);
    const typed = offer.typed ? typedWish(offer, wish.values) : null;
    const target = offer.typed ? typed?.target : offer.target;
    const cells = [size(target), range(offer.wanted), range(offer.interval), offer.chance ?? DASH];
    cells.forEach((text, i) => {
      numbers[i].textContent = text;
    });
    const notes = offer.typed ? ["its chance is told by the next run"] : (offer.notes ?? []);
    note.textContent = notes.join("; ");
  }

  save() {
    const open = this.wishes.find((wish) => wish.lines() === null);
    if (open !== undefined) {
      this.state.textContent = `${open.feature.id}: a value is missing or cannot be right.`;
      this.rows.get(open.feature.id).typed.querySelector("input").focus();
      return;
    }
    const text = plan(this.data.head, JSON.stringify(this.data.part), this.wishes);
    save("plan.toml", text, "application/toml");
    const count = this.wishes.filter((wish) => wish.lines().length > 0).length;
    this.state.textContent = `Saved: ${count} features with an intent. Nothing was sent.`;
  }

  /** A list for the card below the view, that follows the one in the table. */
  listFor(id) {
    const wish = this.wishes.find(({ feature }) => feature.id === id);
    if (wish === undefined) return null;
    const list = element("select", {}, ...options(wish.offers));
    list.value = String(wish.index);
    list.setAttribute("aria-label", `Intent of ${id}, chosen`);
    list.addEventListener("change", () => this.choose(wish, Number(list.value)));
    return list;
  }

  targetOf(id) {
    return this.rows.get(id)?.numbers[0].textContent ?? DASH;
  }
}
