// The drawn racks of the page and the hands on them: the beetles' stay, the tray, the scoop.
// The server calls mount(), show() and set(); what a hand does goes back as events.

const exploring = (() => {
  const racks = {};
  const hands = {};
  let handed = 0;

  const element = (tag, attributes, ...inside) => {
    const made = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
    made.append(...inside);
    return made;
  };
  const share = (part, whole) => `${(100 * part) / whole}%`;
  const put = (box, x, y, size) => {
    box.style.left = share(x, size[0]);
    box.style.top = share(y, size[1]);
  };
  // Time waits for a hand on the rack: the bin must not go away under it.
  const handOn = () => {
    if (Date.now() - handed < 600) return;
    handed = Date.now();
    emitEvent("hand", true);
  };
  const watch = (box) => {
    for (const kind of ["pointermove", "pointerdown"]) box.addEventListener(kind, handOn);
  };

  // A number on the rack that is dragged, tapped or stepped by keys.
  const stepper = (name, words, pixels, text) => {
    const less = element("button", { type: "button", "aria-label": words.less }, "−");
    const more = element("button", { type: "button", "aria-label": words.more }, "+");
    const grip = element("div", { class: "grip", role: "spinbutton", tabindex: 0, "aria-label": words.label });
    const sign = element("span", { class: "emblem", "aria-hidden": "true" });
    const box = element("div", { class: `hand ${name}`, role: "group", "aria-label": words.label }, sign, less, grip, more);
    let now = { value: 0, low: 0, high: 1, step: 1 }, quiet = 0, from = null;
    const write = () => {
      const said = text(now.value);
      if (grip.textContent !== said) grip.textContent = said;
      grip.setAttribute("aria-valuenow", now.value);
      grip.setAttribute("aria-valuemin", now.low);
      grip.setAttribute("aria-valuemax", now.high);
      grip.setAttribute("aria-valuetext", words.value(now.value));
    };
    const move = (value) => {
      const steps = Math.round(value / now.step) * now.step;
      now.value = Math.min(now.high, Math.max(now.low, Number(steps.toFixed(4))));
      quiet = Date.now() + 1500;
      write();
    };
    const tell = () => emitEvent("set", { name, value: now.value });
    const step = (steps) => { move(now.value + steps * now.step); tell(); };
    less.addEventListener("click", () => step(-1));
    more.addEventListener("click", () => step(1));
    grip.addEventListener("keydown", (event) => {
      const ways = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1, PageUp: 5, PageDown: -5 };
      if (event.key in ways) step(ways[event.key]);
      else if (event.key === "Home") { move(now.low); tell(); }
      else if (event.key === "End") { move(now.high); tell(); }
      else return;
      event.preventDefault();
    });
    grip.addEventListener("pointerdown", (event) => {
      from = { x: event.clientX, value: now.value };
      grip.setPointerCapture(event.pointerId);
    });
    grip.addEventListener("pointermove", (event) => {
      if (from !== null) move(from.value + Math.round((event.clientX - from.x) / pixels) * now.step);
    });
    const dropped = () => {
      if (from !== null && from.value !== now.value) tell();
      from = null;
    };
    grip.addEventListener("pointerup", dropped);
    grip.addEventListener("pointercancel", dropped);
    const set = (told, force) => {
      // What a hand has just set comes back from the server a little later.
      if (!force && (from !== null || Date.now() < quiet)) told = { ...told, value: now.value };
      now = told;
      write();
    };
    return { box, sign, set, write };
  };

  let day = "";
  hands.stay = stepper(
    "stay",
    {
      label: "Beetles stay in a bin", less: "Beetles stay a day less", more: "Beetles stay a day more",
      value: (days) => `${days} days`,
    },
    8,
    (days) => day.replace(/^day (\d+) of \d+$/, `$1 of ${days} d`),
  );
  hands.scoop = stepper(
    "scoop",
    {
      label: "The scoop takes, of larvae of size", less: "The scoop takes less", more: "The scoop takes more",
      value: (part) => `${Math.round(100 * part)} percent`,
    },
    9,
    (part) => `${Math.round(100 * part)} %`,
  );
  const knob = element("span", { class: "knob", "aria-hidden": "true" });
  const tray = element("button", { type: "button", class: "hand tray", role: "switch" }, knob, "Pupae on the tray");
  tray.addEventListener("click", () => {
    const on = tray.getAttribute("aria-checked") !== "true";
    trayIs(on);
    emitEvent("set", { name: "tray", value: on });
  });
  const trayIs = (on) => {
    tray.setAttribute("aria-checked", on);
    const box = document.getElementById("rack-new");
    if (box) box.classList.toggle("away", !on);
  };

  const mount = (side, svg, places, scoop) => {
    const box = document.getElementById(`rack-${side}`);
    if (!box) return;
    if (!(side in racks)) watch(box);
    box.innerHTML = svg;
    const drawing = box.querySelector("svg");
    const [across, down] = places.size;
    box.style.setProperty("--shape", `${across} / ${down}`);
    box.style.setProperty("--ratio", across / down);
    racks[side] = { box, drawing, places, rack: drawnRack(drawing, places) };
    if (side !== "new") return;
    box.append(tray, hands.stay.box, hands.scoop.box);
    hands.scoop.sign.innerHTML = scoop;
    // Beside the tray, or above it where there is no room.
    const beside = (across + 240) / 2 + 8;
    tray.classList.toggle("above", across < 600);
    put(tray, across < 600 ? across / 2 : beside, across < 600 ? 0 : 24, places.size);
    put(hands.scoop.box, (places.size[0] - places.binWidth) / 4, places.size[1] - 30, places.size);
  };

  const show = (side, told) => {
    const here = racks[side];
    if (!here) return;
    const { rack, places } = here;
    for (const [glyph, begin, end, signs] of told.flights) rack.fly(glyph, begin, end, signs);
    rack.all(told.state);
    if (told.words) here.drawing.setAttribute("aria-label", told.words);
    if (told.away !== undefined) here.box.classList.toggle("away", told.away);
    if (side !== "new" || told.breeding === null) return;
    const [left, top] = places.offsets[told.breeding];
    put(hands.stay.box, left + places.binWidth / 2, top + places.floor + 12, places.size);
    day = told.state.labels[told.breeding][0];
    hands.stay.write();
  };

  // Nothing can be set before it is known what is set.
  for (const box of [tray, hands.stay.box, hands.scoop.box]) box.hidden = true;
  const set = (told, force) => {
    tray.hidden = hands.scoop.box.hidden = false;
    hands.stay.box.hidden = told.stay === null;
    if (told.stay !== null) hands.stay.set(told.stay, force);
    hands.scoop.set(told.scoop, force);
    trayIs(told.tray);
  };

  // Called once by the server: what it must know of the window, now and when it changes.
  const ready = () => {
    const wide = matchMedia("(min-width: 720px)");
    const calm = matchMedia("(prefers-reduced-motion: reduce)");
    const tell = () => emitEvent("window", { wide: wide.matches, calm: calm.matches });
    wide.addEventListener("change", tell);
    tell();
  };
  return { mount, show, set, ready };
})();
