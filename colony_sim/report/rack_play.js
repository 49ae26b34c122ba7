// Time and controls: the day that is shown, and how the reader moves it.

const view = $("rack-view"), section = $("rack");
const play = $("rack-play"), slide = $("rack-slide"), speed = $("rack-speed");
const less = window.matchMedia("(prefers-reduced-motion: reduce)");
// Faster than this, moves would be over before they are seen.
const MOVES_TO = 14;

let day = 0, playing = false, last = 0, owed = 0, telling = 0;
if (less.matches) speed.value = "1";

const set = (element, text) => { if (element.textContent !== text) element.textContent = text; };
const totals = [...section.querySelectorAll("[data-total]")];
const again = [...section.querySelectorAll(".rack-day-again")];
const tables = [...section.querySelectorAll("table.bins")].map((table) => [...table.tBodies[0].rows]);
const details = $("rack-bins");

const fillTables = () => {
  for (const element of again) set(element, `${data.first + day}`);
  tables.forEach((rows, k) => {
    const side = sides[k];
    for (let bin = 0; bin < data.bins; bin++) {
      const i = day * data.bins + bin, phase = side.phase[i];
      const days = phase === FREE ? "" : `${(phase === BREEDING ? side.inFor : side.outFor)[i]}`;
      const texts = [data.phases[phase], days,
        ...STAGES.map((stage) => `${side[stage][i]}`), (side.larvaeMg[i] / 1000).toFixed(1),
        doneOn(side, day, bin).map(doneText).join("; ")];
      texts.forEach((text, c) => set(rows[bin].cells[c + 1], text));
    }
    const tray = rows[data.bins].cells;
    set(tray[5], `${side.trayPupae[day]}`);
    set(tray[6], `${side.trayAdults[day]}`);
  });
};

const say = () => set($("rack-told"), `Day ${data.first + day}. ${sides.map((side) => inWords(side, day)).join(" ")}`);

// Read out only while nothing moves, and once the reader stops stepping.
const tell = () => {
  window.clearTimeout(telling);
  if (playing) return;
  telling = window.setTimeout(say, 150);
};

const update = () => {
  const now = data.first + day;
  draw(day);
  for (const element of totals) {
    set(element, SAY[element.dataset.total](sides[element.dataset.side][element.dataset.total][day]));
  }
  set($("rack-day"), `Day ${now}`);
  set($("rack-of"), `(${day + 1} of ${data.days})`);
  if (slide.value !== `${now}`) slide.value = `${now}`;
  slide.setAttribute("aria-valuetext", `day ${now}`);
  section.dataset.day = `${now}`;
  if (!playing || details.open) fillTables();
  tell();
};

const go = (to) => {
  const from = day;
  day = Math.max(0, Math.min(data.days - 1, to));
  update();
  const pace = playing ? Number(speed.value) : 1;
  if (pace <= MOVES_TO && day > from && day - from <= 2) {
    for (let at = from + 1; at <= day; at++) flights(at, pace < 3 ? 900 : 650);
  }
};

const tick = (time) => {
  if (!playing) return;
  owed += (Math.min(time - last, 250) / 1000) * Number(speed.value);
  last = time;
  const whole = Math.floor(owed);
  owed -= whole;
  if (day + whole >= data.days - 1) {
    day = data.days - 1;
    stop();
    return;
  }
  if (whole) go(day + whole);
  window.requestAnimationFrame(tick);
};

const stop = () => {
  playing = false;
  set(play, "Play");
  section.dataset.playing = "no";
  update();
};

const start = () => {
  if (day >= data.days - 1) day = 0;
  playing = true;
  owed = 0;
  set(play, "Pause");
  section.dataset.playing = "yes";
  window.clearTimeout(telling);
  set($("rack-told"), "");
  update();
  window.requestAnimationFrame((time) => { last = time; window.requestAnimationFrame(tick); });
};

const toggle = () => (playing ? stop() : start());
const step = (by) => {
  if (playing) stop();
  go(day + by);
};

play.addEventListener("click", toggle);
$("rack-back").addEventListener("click", () => step(-1));
$("rack-on").addEventListener("click", () => step(1));
slide.addEventListener("input", () => {
  if (playing) stop();
  go(Number(slide.value) - data.first);
});
details.addEventListener("toggle", fillTables);

const KEYS = {
  ArrowLeft: () => step(-1), ArrowRight: () => step(1),
  Home: () => step(-data.days), End: () => step(data.days), " ": toggle,
};
view.addEventListener("keydown", (event) => {
  const plain = !(event.ctrlKey || event.altKey || event.metaKey || event.shiftKey);
  const act = plain ? KEYS[event.key] : undefined;
  // The slider, the list and the buttons keep the keys that are theirs.
  const own = { INPUT: event.key !== " ", SELECT: true, BUTTON: event.key === " " }[event.target.tagName];
  if (!act || own) return;
  event.preventDefault();
  act();
});

// A bin that is touched or clicked tells its label.
racks.forEach((_, k) => {
  $(`rack-${k}`).addEventListener("click", (event) => {
    const box = $(`rack-${k}`).querySelector("svg").getBoundingClientRect();
    const { offsets, size, binWidth } = data.sides[k].places;
    const x = ((event.clientX - box.left) / box.width) * size[0];
    const y = ((event.clientY - box.top) / box.height) * size[1];
    const bin = offsets.findIndex(([left, top]) =>
      x >= left && x <= left + binWidth && y >= top && y <= top + data.sides[k].places.binHeight);
    if (bin < 0) return;
    if (playing) stop();
    window.clearTimeout(telling);
    set($("rack-told"), binInWords(sides[k], day, bin));
  });
});

window.addEventListener("beforeprint", () => {
  if (playing) stop();
  document.documentElement.dataset.print = "";
  say();
});
window.addEventListener("afterprint", () => { delete document.documentElement.dataset.print; });

section.dataset.playing = "no";
go(0);
