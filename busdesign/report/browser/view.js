// One run: its rows, its bar, its pointer; all follow one window of time.

const MOST_LISTED = 200;

class View {
  constructor(element) {
    this.element = element;
    this.number = element.dataset.run;
    this.strips = [...element.querySelectorAll(".strip")].map((strip) => ({
      kind: strip.dataset.strip,
      key: strip.dataset.key,
      surface: new Surface(strip.querySelector("canvas")),
      output: strip.querySelector("output"),
      strip,
    }));
    this.line = overlay(element, "cursor");
    this.selection = overlay(element, "selection");
    this.card = overlay(element, "card");
    this.hasWheel = false; // a click on the rows lends them the wheel, until they lose the focus
    element.addEventListener("blur", () => {
      this.hasWheel = false;
    });
    this.told = element.querySelector(".chosen");
    this.listing = element.querySelector(".listing");
  }

  async start() {
    const data = JSON.parse(document.getElementById(`data-${this.number}`).textContent);
    this.moments = data.moments;
    this.load = { ...data.load, values: await unpack(data.load.values) };
    this.load.top = roomy(Math.max(this.load.busiest[2], this.load.worst, ...extremes(this.load.values)));
    this.names = await Promise.all(data.names.map(unpackedName));
    const columns = {};
    for (const name of ["kind", "start", "waited", "response", "behind", "waiting"]) {
      columns[name] = await unpack(data.frames[name]);
    }
    this.frames = new Frames(data.frames, columns);
    this.time = new TimeWindow(data.end);
    this.time.onChange = () => this.request();
    this.time.onCursor = () => this.showCursor();
    control(this.element, this.time, (clientX) => this.timeAt(clientX), this);
    for (const button of this.element.querySelectorAll("[data-do]")) {
      button.addEventListener("click", () => this.act(button.dataset.do));
    }
    for (const group of this.element.querySelectorAll("details")) {
      group.addEventListener("toggle", () => this.request());
    }
    new ResizeObserver(() => this.request()).observe(this.element);
    this.draw();
    this.element.dataset.ready = "yes";
  }

  act(what) {
    const { time } = this;
    const [from, to] = this.load.busiest;
    if (what === "whole") time.whole();
    if (what === "in") time.zoom(0.5);
    if (what === "out") time.zoom(2);
    if (what === "earlier") time.move(-time.width / 2);
    if (what === "later") time.move(time.width / 2);
    if (what === "busiest") time.show(from - 5e6, to + 5e6);
    if (what === "frames") {
      const near = this.frames.nearest(null, time.anchor(), Infinity);
      if (near !== null) this.showFrame(near);
    }
  }

  showFrame(index) {
    const width = Math.max(12e6, 3 * this.frames.columns.response[index]);
    const middle = (this.frames.release(index) + this.frames.end(index)) / 2;
    this.time.show(middle - width / 2, middle + width / 2);
    this.choose(index);
  }

  request() {
    if (this.waiting) return;
    this.waiting = requestAnimationFrame(() => {
      this.waiting = null;
      this.draw();
    });
  }

  draw() {
    const { time, moments } = this;
    for (const { kind, key, surface, strip } of this.strips) {
      if (kind === "axis") drawAxis(surface, time);
      else if (kind === "moments") drawMoments(surface, time, moments);
      else if (kind === "load") drawLoad(surface, time, this.load, moments);
      else if (kind === "number") drawNumber(surface, time, this.names[key], moments);
      else if (kind === "frames") this.drawFrames(surface, strip);
      else drawBands(surface, time, this.names[key], moments, kind === "flag");
    }
    const finest = time.width / 1000;
    this.element.querySelector(".window").textContent =
      `${momentText(time.from, finest)} to ${momentText(time.to, finest)} (${lengthText(time.width)})`;
    this.list();
    this.showCursor();
  }

  drawFrames(surface, strip) {
    const labels = strip.querySelector(".labels");
    const rowHeight = labels.firstElementChild.getBoundingClientRect().height;
    const laneTop = parseFloat(getComputedStyle(labels).getPropertyValue("--lane-top")) || 0;
    surface.canvas.style.height = `${rowHeight * (this.frames.rows.length + 1)}px`;
    this.layout = { rowHeight, laneTop, surface };
    const bottom = surface.canvas.getBoundingClientRect().bottom - this.element.getBoundingClientRect().top;
    for (const line of [this.line, this.selection]) line.style.height = bottom > 0 ? `${bottom}px` : "100%";
    drawFrames(surface, this.time, this.frames, this.moments, this.layout);
  }

  // Every canvas has the same left edge and width: the axis, which is never folded away, stands for all.
  get rule() {
    return this.strips[0].surface.canvas.getBoundingClientRect();
  }

  timeAt(clientX) {
    const { left, width } = this.rule;
    const part = Math.min(Math.max((clientX - left) / width, 0), 1);
    return this.time.from + part * this.time.width;
  }

  leftOf(atNs) {
    const { left, width } = this.rule;
    const within = left - this.element.getBoundingClientRect().left;
    return within + ((atNs - this.time.from) / this.time.width) * width;
  }

  showCursor() {
    const at = this.time.cursor;
    const seen = at !== null && at >= this.time.from && at <= this.time.to;
    this.line.hidden = !seen;
    if (seen) this.line.style.left = `${this.leftOf(at)}px`;
    for (const { kind, key, output } of this.strips) {
      if (!output) continue;
      output.textContent = seen ? this.valueAt(kind, key, at) : "";
    }
  }

  valueAt(kind, key, at) {
    if (kind === "axis") return momentText(at, this.time.width / 2000);
    if (kind === "load") return percent(this.load.values[Math.min(Math.floor(at / this.load.bin), this.load.values.length - 1)]);
    return kind === "number" || kind === "choice" || kind === "flag" ? valueText(this.names[key], at) : "";
  }

  select(fromNs, toNs) {
    this.selection.hidden = fromNs === null;
    if (fromNs === null) return;
    const [left, right] = [this.leftOf(fromNs), this.leftOf(toNs)].sort((one, other) => one - other);
    this.selection.style.left = `${left}px`;
    this.selection.style.width = `${right - left}px`;
  }

  hover(event) {
    const index = this.frameUnder(event);
    this.card.hidden = index === null;
    if (index === null) return;
    fill(this.card, frameText(this.frames, index));
    const box = this.element.getBoundingClientRect();
    const left = Math.min(event.clientX - box.left + 14, box.width - this.card.offsetWidth - 4);
    this.card.style.left = `${Math.max(left, 0)}px`;
    const room = window.innerHeight - event.clientY > this.card.offsetHeight + 24;
    this.card.style.top = `${event.clientY - box.top + (room ? 16 : -this.card.offsetHeight - 12)}px`;
  }

  frameUnder(event) {
    if (!this.layout || event.target !== this.layout.surface.canvas) return null;
    const box = event.target.getBoundingClientRect();
    const row = Math.floor((event.clientY - box.top) / this.layout.rowHeight) - 1;
    if (row >= this.frames.rows.length) return null;
    const tolerance = (4 / box.width) * this.time.width;
    return this.frames.nearest(row < 0 ? null : row, this.timeAt(event.clientX), tolerance);
  }

  leave() {
    this.card.hidden = true;
  }

  click(event) {
    const index = this.frameUnder(event);
    if (index !== null || this.frames.chosen !== null) this.choose(index);
    this.element.focus({ preventScroll: true });
    this.hasWheel = true;
  }

  // Once: nothing is chosen any more. Twice: the wheel is the page's again.
  clear() {
    if (this.frames.chosen === null) this.element.blur();
    this.choose(null);
    this.time.cursor = null;
    this.showCursor();
  }

  step(by) {
    const { frames, time } = this;
    if (frames.count === 0) return;
    const from = frames.chosen ?? frames.nearest(null, time.anchor(), Infinity) - by;
    const index = Math.min(Math.max(from + by, 0), frames.count - 1);
    if (frames.start(index) < time.from || frames.end(index) > time.to) {
      const middle = frames.start(index);
      time.show(middle - time.width / 2, middle + time.width / 2, { remember: false });
    }
    this.choose(index);
  }

  choose(index) {
    this.frames.chosen = index;
    if (index === null) this.told.textContent = "";
    else {
      const [heading, lines] = frameText(this.frames, index);
      this.told.textContent = [`Chosen: ${heading}`, ...lines].join(" \u00b7 ");
    }
    this.request();
  }

  list() {
    if (!this.listing.open) return;
    const [first, last] = this.frames.inWindow(this.time);
    const place = this.listing.querySelector("div");
    if (last - first > MOST_LISTED) {
      place.textContent = `${last - first} frames are in this window; come closer, until there are ${MOST_LISTED} or fewer.`;
      return;
    }
    const heads = ["message", "identifier", "from", "start, s", "end, s", "bits", "waited, ms", "response, ms", "waiting too"];
    const rows = range(first, last).map((index) => frameCells(this.frames, index));
    place.replaceChildren(tableOf(heads, rows));
  }
}

function overlay(element, kind) {
  const made = document.createElement("div");
  made.className = kind;
  made.hidden = true;
  element.append(made);
  return made;
}

async function unpackedName(name) {
  const made = { ...name, times: await unpack(name.times), values: await unpack(name.values) };
  [made.least, made.most] = extremes(made.values);
  return made;
}

function extremes(values) {
  let [least, most] = [Infinity, -Infinity];
  for (const value of values) {
    if (value < least) least = value;
    if (value > most) most = value;
  }
  return least > most ? [0, 0] : [least, most];
}

// The next round share above, so that the highest line still has air over it.
function roomy(share) {
  const wanted = Math.max(share * 1.15, 0.01);
  const power = 10 ** Math.floor(Math.log10(wanted));
  return [1, 1.5, 2, 3, 4, 6, 8, 10].map((part) => part * power).find((top) => top >= wanted);
}

// "#run-2@3.1-3.4" opens a run at that window, in seconds.
function windowFromAddress() {
  const found = /^#run-(\d+)@([\d.]+)-([\d.]+)$/.exec(location.hash);
  return found ? { run: found[1], from: Number(found[2]) * 1e9, to: Number(found[3]) * 1e9 } : null;
}

async function startPage() {
  const views = new Map();
  for (const element of document.querySelectorAll(".view")) {
    const view = new View(element);
    views.set(view.number, view);
    await view.start();
  }
  for (const button of document.querySelectorAll("[data-view]")) {
    button.addEventListener("click", () => {
      const view = views.get(button.dataset.view);
      if (button.dataset.frame) view.showFrame(Number(button.dataset.frame));
      else view.time.goTo(Number(button.dataset.at));
      const target = button.dataset.frame ? view.element.querySelector(".frames") : view.element;
      target.scrollIntoView({ block: "start" });
      view.element.focus({ preventScroll: true });
    });
  }
  const wanted = windowFromAddress();
  if (wanted && views.has(wanted.run)) {
    views.get(wanted.run).time.show(wanted.from, wanted.to);
    document.getElementById(`run-${wanted.run}`).scrollIntoView();
  }
  window.addEventListener("beforeprint", () => {
    document.body.classList.add("printing");
    for (const folded of document.querySelectorAll("details[data-print]")) folded.open = true;
    for (const view of views.values()) view.draw();
  });
  window.addEventListener("afterprint", () => {
    document.body.classList.remove("printing");
    for (const view of views.values()) view.draw();
  });
}

startPage().catch((reason) => {
  for (const element of document.querySelectorAll(".view .window")) {
    element.textContent = `This browser cannot draw the rows (${reason.message}); the tables below hold the figures.`;
  }
});
