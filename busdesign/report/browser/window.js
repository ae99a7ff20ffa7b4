// The span of time that all rows of a run show, and the moment under the pointer. Times are nanoseconds.

const NARROWEST_NS = 20000;

class TimeWindow {
  constructor(endNs) {
    this.endNs = endNs;
    this.from = 0;
    this.to = endNs;
    this.cursor = null;
    this.past = [];
    this.onChange = () => {};
    this.onCursor = () => {};
  }

  get width() {
    return this.to - this.from;
  }

  show(from, to, { remember = true } = {}) {
    const width = Math.min(Math.max(to - from, Math.min(NARROWEST_NS, this.endNs)), this.endNs);
    const start = Math.min(Math.max((from + to - width) / 2, 0), this.endNs - width);
    if (start === this.from && start + width === this.to) return;
    if (remember) this.past.push([this.from, this.to]);
    this.from = start;
    this.to = start + width;
    this.onChange();
  }

  whole() {
    this.show(0, this.endNs);
  }

  back() {
    const before = this.past.pop();
    if (before) this.show(before[0], before[1], { remember: false });
    else this.show(0, this.endNs, { remember: false });
  }

  zoom(factor, around = this.anchor()) {
    const part = (around - this.from) / this.width;
    const width = Math.max(this.width * factor, NARROWEST_NS);
    const from = Math.min(Math.max(around - part * width, 0), Math.max(this.endNs - width, 0));
    this.show(from, from + width, { remember: false });
  }

  move(byNs) {
    const by = Math.min(Math.max(byNs, -this.from), this.endNs - this.to);
    this.show(this.from + by, this.to + by, { remember: false });
  }

  // So that the moment stands in the middle, as close as before, or close enough to see something.
  goTo(atNs) {
    const width = Math.min(this.width, this.endNs / 8);
    this.show(atNs - width / 2, atNs + width / 2);
    this.point(atNs);
  }

  point(atNs) {
    this.cursor = atNs;
    this.onCursor();
  }

  anchor() {
    const inside = this.cursor !== null && this.cursor >= this.from && this.cursor <= this.to;
    return inside ? this.cursor : (this.from + this.to) / 2;
  }
}

// Pointer, wheel and keys on one element; timeAt turns a place on the screen into a time.
function control(element, time, timeAt, extra) {
  const pointers = new Map();
  let drag = null;

  element.addEventListener("pointermove", (event) => {
    if (!onRows(event)) return leave();
    const at = timeAt(event.clientX);
    if (pointers.has(event.pointerId)) moved(event, at);
    if (pointers.size < 2) time.point(at);
    extra.hover(event);
  });
  element.addEventListener("pointerleave", leave);
  element.addEventListener("pointerdown", (event) => {
    if (!onRows(event) || event.button !== 0) return;
    pointers.set(event.pointerId, event.clientX);
    const moves = event.shiftKey || event.pointerType === "touch";
    drag = { id: event.pointerId, x: event.clientX, at: timeAt(event.clientX), moves, far: false };
    if (event.pointerType !== "touch") event.target.setPointerCapture(event.pointerId);
  });
  for (const name of ["pointerup", "pointercancel"]) {
    element.addEventListener(name, (event) => {
      pointers.delete(event.pointerId);
      if (!drag || drag.id !== event.pointerId) return;
      const ended = drag;
      drag = null;
      extra.select(null, null);
      if (name === "pointercancel") return;
      if (!ended.far) extra.click(event);
      else if (!ended.moves) {
        const at = timeAt(event.clientX);
        time.show(Math.min(ended.at, at), Math.max(ended.at, at));
      }
    });
  }
  element.addEventListener("dblclick", (event) => {
    if (onRows(event)) time.back();
  });
  element.addEventListener(
    "wheel",
    (event) => {
      const wanted = event.ctrlKey || extra.hasWheel;
      if (!wanted || !onRows(event)) return;
      event.preventDefault();
      const sideways = Math.abs(event.deltaX) > Math.abs(event.deltaY);
      if (sideways) time.move((event.deltaX / 600) * time.width);
      else time.zoom(Math.exp(event.deltaY / 400), timeAt(event.clientX));
    },
    { passive: false },
  );
  element.addEventListener("keydown", (event) => {
    if (event.target !== element || event.ctrlKey || event.altKey || event.metaKey) return;
    const act = {
      "+": () => time.zoom(0.5),
      "=": () => time.zoom(0.5),
      "-": () => time.zoom(2),
      ArrowLeft: () => time.move(-time.width / 10),
      ArrowRight: () => time.move(time.width / 10),
      0: () => time.whole(),
      ",": () => extra.step(-1),
      ".": () => extra.step(1),
      Escape: () => extra.clear(),
    }[event.key];
    if (!act) return;
    event.preventDefault();
    act();
  });

  function onRows(event) {
    return event.target instanceof HTMLCanvasElement || pointers.has(event.pointerId);
  }

  function leave() {
    extra.leave();
    time.cursor = null;
    time.onCursor();
  }

  function moved(event, at) {
    const before = pointers.get(event.pointerId);
    if (pointers.size === 2) {
      const [one, other] = [...pointers.values()];
      pointers.set(event.pointerId, event.clientX);
      const [now, then] = [...pointers.values()];
      const ratio = Math.abs(one - other) / Math.max(Math.abs(now - then), 1);
      if (drag) drag.far = true;
      time.zoom(Math.min(Math.max(ratio, 0.5), 2), timeAt((now + then) / 2));
      return;
    }
    pointers.set(event.pointerId, event.clientX);
    if (!drag) return;
    drag.far = drag.far || Math.abs(event.clientX - drag.x) > 4;
    if (!drag.far) return;
    if (drag.moves) time.move(timeAt(before) - at);
    else extra.select(drag.at, at);
  }
}
