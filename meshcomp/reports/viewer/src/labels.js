// Names of the features that are seen, each on a place of its own where it is seen.

const LEAST = 12; // pixels of a feature in the trial picture, below which it has no name
const SCALE = 2; // CSS pixels for one of the trial picture
const SMALL = 260; // pixels of a feature that its name would hide
const GAP = 3;

/** Where each feature seen is best named: number -> {x, y, seen}. */
function anchors(view, width, height) {
  const w = Math.max(1, Math.floor(width / SCALE));
  const h = Math.max(1, Math.floor(height / SCALE));
  const numbers = view.numbers(w, h);
  const sums = new Map();
  numbers.forEach((number, i) => {
    if (number === 0) return;
    const sum = sums.get(number) ?? { x: 0, y: 0, seen: 0 };
    sum.x += i % w;
    sum.y += (i / w) | 0;
    sum.seen += 1;
    sums.set(number, sum);
  });
  for (const sum of sums.values()) {
    sum.x /= sum.seen;
    sum.y /= sum.seen;
    sum.gap = Infinity;
  }
  // The middle of a bore's wall lies in the void: take the pixel of it next to that.
  const found = new Map();
  numbers.forEach((number, i) => {
    if (number === 0) return;
    const sum = sums.get(number);
    const [x, y] = [i % w, (i / w) | 0];
    const gap = (x - sum.x) ** 2 + (y - sum.y) ** 2;
    if (gap >= sum.gap) return;
    sum.gap = gap;
    found.set(number, { x: x * SCALE, y: (h - 1 - y) * SCALE, seen: sum.seen });
  });
  return found;
}

export class Labels {
  constructor(view, layer, choose) {
    this.view = view;
    this.layer = layer;
    this.choose = choose;
    this.shown = true;
    this.lit = 0;
    view.onRest = () => this.place();
    view.canvas.addEventListener("moved", () => layer.classList.add("moving"));
  }

  place() {
    const { clientWidth: width, clientHeight: height } = this.view.canvas;
    this.layer.replaceChildren();
    this.layer.classList.remove("moving");
    if (!this.shown || width === 0) return;
    const order = [...anchors(this.view, width, height)].sort(
      ([a, one], [b, two]) => (b === this.lit) - (a === this.lit) || two.seen - one.seen,
    );
    const taken = [this.legendBox()];
    for (const [number, { x, y, seen }] of order) {
      if (seen < LEAST && number !== this.lit) continue;
      const label = this.label(number);
      this.layer.append(label);
      const above = seen < SMALL ? 13 : 0;
      const box = this.boxAt(label, x, y - above, width, height);
      if (taken.some((other) => overlap(box, other))) label.remove();
      else taken.push(box);
    }
  }

  legendBox() {
    const legend = this.layer.parentElement.querySelector(".scale");
    const { offsetLeft: left, offsetTop: top, offsetWidth: w, offsetHeight: h } = legend;
    return [left, top, left + w, top + h];
  }

  label(number) {
    const label = document.createElement("span");
    label.className = number === this.lit ? "name lit" : "name";
    label.textContent = this.view.features[number - 1].id;
    label.addEventListener("click", () => this.choose(number));
    return label;
  }

  boxAt(label, x, y, width, height) {
    const [w, h] = [label.offsetWidth, label.offsetHeight];
    const left = Math.max(0, Math.min(width - w, x - w / 2));
    const top = Math.max(0, Math.min(height - h, y - h / 2));
    label.style.transform = `translate(${left}px, ${top}px)`;
    return [left - GAP, top - GAP, left + w + GAP, top + h + GAP];
  }
}

function overlap(a, b) {
  return a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];
}
