// Brings the page to life. Without it, the page shows everything but the 3D view.

import { startBench } from "./bench.js";
import { read } from "./data.js";
import { Labels } from "./labels.js";
import { Plan } from "./plan.js";
import { makeRowsLead, sortTables } from "./table.js";
import { View, WAYS } from "./view.js";

const TURN = Math.PI / 24;
const CLICK = 5; // pixels that a click may wander

function start() {
  sortTables();
  startBench();
  const offers = read("offers");
  const plan = offers === null ? null : new Plan(offers);
  const surface = read("surface");
  if (surface === null) return;
  const stage = document.getElementById("stage");
  let view;
  try {
    stage.hidden = false;
    view = new View(stage.querySelector("canvas"), surface);
  } catch (error) {
    // No WebGL: the plan views stay, and the page says why there is no more.
    stage.hidden = true;
    document.getElementById("flat").textContent =
      "This browser draws nothing in 3D (WebGL is missing or switched off). " +
      "The plan views below show the same changes.";
    return;
  }
  document.getElementById("flat").remove();
  document.documentElement.classList.add("has-view");
  const tables = document.querySelectorAll("table.leads, #plan-table");
  new Desk(view, stage, surface, tables, plan);
}

/** What is chosen, and everything that shows it. */
class Desk {
  constructor(view, stage, surface, tables, plan) {
    this.plan = plan;
    this.view = view;
    this.canvas = view.canvas;
    this.surface = surface;
    this.numbers = new Map(surface.features.map(({ id }, i) => [id, i + 1]));
    this.labels = new Labels(view, stage.querySelector(".names"), (n) => this.choose(n));
    this.card = document.getElementById("card");
    this.rows = makeRowsLead(tables, (id) => this.fromRow(id));
    this.chosen = 0;
    if (plan) plan.onChange = (id) => this.retold(id);
    this.watchSize(stage.querySelector(".frame"));
    this.watchPointer();
    this.canvas.addEventListener("keydown", (event) => this.key(event));
    this.buttons(stage);
  }

  watchSize(frame) {
    new ResizeObserver(() => {
      const { clientWidth: width, clientHeight: height } = frame;
      if (width > 0 && height > 0) this.view.resize(width, height);
    }).observe(frame);
  }

  watchPointer() {
    let pressed = null;
    this.canvas.addEventListener("pointerdown", ({ offsetX, offsetY }) => {
      pressed = [offsetX, offsetY];
      this.view.isWhole = false;
      this.canvas.focus({ preventScroll: true });
    });
    this.canvas.addEventListener("pointerup", ({ offsetX, offsetY }) => {
      if (!pressed) return;
      if (Math.hypot(offsetX - pressed[0], offsetY - pressed[1]) < CLICK) {
        this.choose(this.view.under(offsetX, offsetY));
      }
      pressed = null;
    });
  }

  buttons(stage) {
    for (const button of stage.querySelectorAll("button[data-way]")) {
      button.addEventListener("click", () => this.view.look(WAYS[button.dataset.way]));
    }
    const names = stage.querySelector("input[name=names]");
    names.addEventListener("change", () => {
      this.labels.shown = names.checked;
      this.labels.place();
    });
  }

  key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const act = {
      ArrowLeft: () => this.view.turn(-TURN, 0),
      ArrowRight: () => this.view.turn(TURN, 0),
      ArrowUp: () => this.view.turn(0, TURN),
      ArrowDown: () => this.view.turn(0, -TURN),
      "+": () => this.view.zoom(1 / 1.15),
      "=": () => this.view.zoom(1 / 1.15),
      "-": () => this.view.zoom(1.15),
      Home: () => this.view.look(WAYS.corner),
      n: () => this.next(1),
      p: () => this.next(-1),
      Enter: () => this.toRow(),
      Escape: () => this.choose(0),
    }[event.key];
    if (act === undefined) return;
    event.preventDefault();
    act();
  }

  next(step) {
    const count = this.surface.features.length;
    if (count === 0) return;
    const from = this.chosen === 0 && step < 0 ? 1 : this.chosen;
    this.choose(((from - 1 + step + count) % count) + 1);
    this.view.goTo(this.chosen);
  }

  /** Light a feature up in the view and in the table; 0 for none. */
  choose(number) {
    this.chosen = number;
    this.labels.lit = number;
    this.view.light(number);
    const feature = this.surface.features[number - 1];
    for (const [id, row] of [...this.rows].flatMap(([id, rows]) => rows.map((r) => [id, r]))) {
      row.classList.toggle("lit", id === feature?.id);
      if (id === feature?.id) row.setAttribute("aria-current", "true");
      else row.removeAttribute("aria-current");
    }
    this.tell(feature);
  }

  tell(feature) {
    this.card.replaceChildren();
    this.target = null;
    if (feature === undefined) {
      this.card.textContent = this.card.dataset.empty;
      return;
    }
    const name = document.createElement("strong");
    name.textContent = feature.id;
    this.card.append(name, ` ${feature.words} `);
    const list = this.plan?.listFor(feature.id);
    if (list) {
      this.target = document.createElement("span");
      this.card.append(list, " ", this.target, " ");
      this.retold(feature.id);
    }
    if (!this.rows.has(feature.id)) return;
    const link = document.createElement("button");
    link.type = "button";
    link.textContent = "to its row";
    link.addEventListener("click", () => this.toRow());
    this.card.append(link);
  }

  /** Tell the target anew, after another intent was chosen. */
  retold(id) {
    if (this.surface.features[this.chosen - 1]?.id !== id || !this.target) return;
    const wish = this.plan.wishes.find(({ feature }) => feature.id === id);
    const words = wish.offer.typed ? "its values are given in its row" : "mm";
    this.target.textContent = `target ${this.plan.targetOf(id)} ${words}`;
    this.card.querySelector("select").value = String(wish.index);
  }

  fromRow(id) {
    this.came = document.activeElement.closest("tr");
    const number = this.numbers.get(id);
    if (number === undefined) return;
    this.choose(number);
    this.view.goTo(number);
    this.canvas.focus({ preventScroll: true });
    this.canvas.scrollIntoView({ block: "center", behavior: "auto" });
  }

  toRow() {
    const rows = this.rows.get(this.surface.features[this.chosen - 1]?.id);
    if (rows === undefined) return;
    // Back to where one came from, or to the first table.
    const row = rows.find((one) => one === this.came) ?? rows[0];
    row.scrollIntoView({ block: "center", behavior: "auto" });
    row.querySelector("button.id").focus({ preventScroll: true });
  }
}

start();
