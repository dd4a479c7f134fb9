// The settled points as a picture: flow against speed, with 95 % intervals.
const NS = "http://www.w3.org/2000/svg";
const BOX = { left: 48, right: 338, top: 30, bottom: 214 };
const STEPS = [1, 2, 2.5, 5, 10];

export class Curve {
  constructor(svg) {
    this.svg = svg;
    this.points = [];
    this.now = null;
    this.unit = "";
  }

  setPoints(points, unit) {
    this.points = points.filter((point) => point.flow !== undefined);
    this.unit = unit;
    this.draw();
  }

  setNow(speed, flow) {
    const now = speed && flow ? { speed, flow } : null;
    const moved = !now !== !this.now || (now && this.isOutside(now));
    this.now = now;
    if (moved) this.draw();
    else this.placeNow();
  }

  isOutside({ speed, flow }) {
    return !this.x || speed > this.x.to || flow > this.y.to;
  }

  draw() {
    const all = this.now ? [...this.points, { ...this.now, u95: 0 }] : this.points;
    this.svg.replaceChildren();
    this.x = this.y = null;
    if (!all.length) {
      this.text(202, 115, "no settled point yet", "middle");
      this.frame();
      return;
    }
    this.x = scale(all.map((p) => p.speed), BOX.left, BOX.right);
    this.y = scale(all.map((p) => p.flow + p.u95), BOX.bottom, BOX.top);
    this.frame();
    for (const tick of this.x.ticks) {
      this.line(this.x.at(tick), BOX.top, this.x.at(tick), BOX.bottom, "grid");
      this.text(this.x.at(tick), BOX.bottom + 17, String(tick), "middle");
    }
    for (const tick of this.y.ticks) {
      this.line(BOX.left, this.y.at(tick), BOX.right, this.y.at(tick), "grid");
      this.text(BOX.left - 6, this.y.at(tick) + 4.5, String(tick), "end");
    }
    this.text((BOX.left + BOX.right) / 2, BOX.bottom + 38, "speed of the blower, rpm", "middle");
    this.text(4, 14, this.unit, "start");
    for (const point of this.points) {
      const x = this.x.at(point.speed);
      this.line(x, this.y.at(point.flow - point.u95), x, this.y.at(point.flow + point.u95), "span");
      this.add("circle", { cx: x, cy: this.y.at(point.flow), r: 3.5, class: "point" });
    }
    this.placeNow();
  }

  placeNow() {
    this.mark?.remove();
    if (!this.now || !this.x) return;
    this.mark = this.add("circle", {
      cx: this.x.at(this.now.speed), cy: this.y.at(this.now.flow), r: 8, class: "now",
    });
  }

  frame() {
    this.add("path", {
      d: `M${BOX.left} ${BOX.top}V${BOX.bottom}H${BOX.right}`, class: "axis",
    });
  }

  line(x1, y1, x2, y2, kind) {
    this.add("line", { x1, y1, x2, y2, class: kind });
  }

  text(x, y, words, anchor) {
    this.add("text", { x, y, "text-anchor": anchor }).textContent = words;
  }

  add(name, attributes) {
    const element = document.createElementNS(NS, name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    this.svg.append(element);
    return element;
  }
}

// An axis from zero to a round end, with some four steps.
function scale(values, start, end) {
  const rough = Math.max(...values, 1e-9) / 4;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = power * STEPS.find((s) => s * power >= rough);
  const to = Math.ceil(Math.max(...values) / step) * step;
  const ticks = [];
  for (let i = 0; i <= Math.round(to / step); i++) ticks.push(+(i * step).toFixed(6));
  return { to, ticks, at: (value) => start + (Math.max(value, 0) / to) * (end - start) };
}
