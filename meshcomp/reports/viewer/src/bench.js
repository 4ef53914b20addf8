// The measuring record: what was written into it, saved as a table of readings.

import { save } from "./files.js";

const NUMBER = /^\d+([.,]\d*)?$/;
const READINGS = ["reading_1", "reading_2", "reading_3"];
const HEAD = [
  "piece",
  "id",
  "kind",
  "nominal_size",
  "mesh_size",
  "instrument",
  "resolution",
  "accuracy",
  ...READINGS,
  "note",
];

function quoted(cell) {
  return /[",\n]/.test(cell) ? `"${cell.replaceAll('"', '""')}"` : cell;
}

export function startBench() {
  const button = document.getElementById("save-readings");
  if (button === null) return;
  const section = button.closest("section");
  const state = document.getElementById("readings-state");
  button.parentElement.hidden = false;
  const value = (name) => section.querySelector(`.bench-head [name=${name}]`).value.trim();

  function wrong() {
    const numbers = [...section.querySelectorAll("[inputmode=decimal]")];
    for (const input of numbers) {
      const text = input.value.trim();
      const isWrong = text !== "" && !NUMBER.test(text);
      input.classList.toggle("wrong", isWrong);
      if (isWrong) input.setAttribute("aria-invalid", "true");
      else input.removeAttribute("aria-invalid");
    }
    return numbers.filter((input) => input.classList.contains("wrong"));
  }

  function rows() {
    return [...section.querySelectorAll("tbody tr")].flatMap((row) => {
      const cell = (name) => row.querySelector(`[name=${name}]`).value.trim();
      const readings = READINGS.map(cell);
      if (readings.every((reading) => reading === "")) return [];
      const { feature, kind, nominal, mesh } = row.dataset;
      const said = ["instrument", "resolution", "accuracy"].map(value);
      const by = [cell("note"), value("by")].filter((text) => text !== "").join("; ");
      return [[value("piece"), feature, kind, nominal, mesh, ...said, ...readings, by]];
    });
  }

  button.addEventListener("click", () => {
    const bad = wrong();
    const found = rows();
    if (bad.length > 0) {
      state.textContent = `${bad.length} entries are no numbers above zero, such as 8.02.`;
      bad[0].focus();
    } else if (found.length === 0) {
      state.textContent = "No reading is written down yet.";
    } else if (value("resolution") === "" && value("instrument") + value("accuracy") !== "") {
      state.textContent = "The instrument's resolution is missing.";
      section.querySelector("[name=resolution]").focus();
    } else {
      const lines = [HEAD, ...found].map((row) => row.map(quoted).join(","));
      save("readings.csv", `${lines.join("\n")}\n`, "text/csv");
      state.textContent = `Saved: ${found.length} features. Nothing left this computer.`;
    }
  });
}
