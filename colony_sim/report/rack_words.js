// The data of the page and what they say in words.

const $ = (id) => document.getElementById(id);
const data = JSON.parse($("rack-data").textContent);
const ARRAYS = { u1: Uint8Array, u2: Uint16Array, u4: Uint32Array };
const STAGES = ["eggs", "larvae", "pupae", "adults"];
const FREE = data.phases.indexOf("free"), BREEDING = data.phases.indexOf("breeding");

const unpack = ({ type, text }) =>
  new ARRAYS[type](Uint8Array.from(atob(text), (c) => c.charCodeAt(0)).buffer);

const unpackAll = (side) => {
  const found = {};
  for (const [name, value] of Object.entries(side)) {
    found[name] = value && value.text !== undefined ? unpack(value) : value;
  }
  const marks = {};
  for (const [name, value] of Object.entries(side.marks)) marks[name] = unpack(value);
  // What was done by day and bin, in the order it was done.
  found.done = new Map();
  for (let i = 0; i < marks.day.length; i++) {
    const key = marks.day[i] * data.bins + marks.bin[i];
    const list = found.done.get(key) || [];
    list.push({ word: data.words[marks.word[i]], amount: marks.amount[i], mg: marks.mg[i] });
    found.done.set(key, list);
  }
  return found;
};
const sides = data.sides.map(unpackAll);

const digits = (x) => {
  if (x === 0) return "0";
  const rounded = Number(x.toPrecision(3));
  return rounded >= 100 ? rounded.toFixed(0) : x.toPrecision(3);
};
const weight = (mg) => {
  const here = mg / data.weight.mg;
  return `${here >= 1000 ? here.toFixed(0) : digits(here)} ${data.weight.unit}`;
};
const count = (x) => `${x}`.replace(/\B(?=(\d{3})+$)/g, "\u202f");
const duration = (minutes) => (minutes < 60 ? `${minutes} min` : `${digits(minutes / 60)} h`);
const SAY = {
  harvestedLarvae: (x) => `${count(x)} larvae`, harvestedMg: (x) => `${weight(x)}`,
  bowlLarvae: (x) => `${count(x)} larvae`, standingMg: (x) => `${weight(x)}`,
  breeders: (x) => `${x}`, minutes: duration,
};
const doneOn = (side, at, bin) => side.done.get(at * data.bins + bin) || [];
const doneText = (mark) => {
  if (mark.word === "harvest") return `harvest ${count(mark.amount)} larvae, ${weight(mark.mg)}`;
  return mark.amount ? `${mark.amount} ${mark.word}` : mark.word;
};

const doneInWords = (side, day) => {
  const by = new Map();
  for (let bin = 0; bin < data.bins; bin++) {
    for (const { word } of doneOn(side, day, bin)) by.set(word, [...(by.get(word) || []), bin + 1]);
  }
  if (!by.size) return "nothing";
  return [...by].map(([word, bins]) => `${word} (bin ${bins.join(", ")})`).join("; ");
};

const inWords = (side, day) => {
  if (side.diedOut && data.first + day >= side.diedOut) {
    return `“${side.policy}”: the colony died out on day ${side.diedOut}; ` +
      `${weight(side.harvestedMg[day])} harvested in all.`;
  }
  let used = 0;
  const held = STAGES.map(() => 0);
  for (let bin = 0; bin < data.bins; bin++) {
    const i = day * data.bins + bin;
    used += side.phase[i] !== FREE;
    STAGES.forEach((stage, k) => { held[k] += side[stage][i]; });
  }
  held[2] += side.trayPupae[day];
  held[3] += side.trayAdults[day];
  return `“${side.policy}”: ${used} of ${data.bins} bins in use; ${held[0]} eggs, ${held[1]} ` +
    `larvae (${weight(side.standingMg[day])}), ${held[2]} pupae, ${held[3]} beetles; ` +
    `${weight(side.harvestedMg[day])} harvested so far. Done today: ${doneInWords(side, day)}.`;
};

// The label of a bin, with its dates, and what is in it.
const date = (day) => (day < 1 ? "before day 1" : `on day ${day}`);
const datesInWords = (side, day, bin) => {
  const i = day * data.bins + bin, phase = side.phase[i], now = data.first + day;
  if (phase === FREE) return "free, empty and clean";
  const into = `beetles in ${date(now - side.inFor[i])}`;
  return phase === BREEDING ? into : `${into}, out ${date(now - side.outFor[i])}`;
};
const binInWords = (side, day, bin) => {
  const i = day * data.bins + bin;
  const start = `Bin ${bin + 1}, “${side.policy}”, day ${data.first + day}: ${datesInWords(side, day, bin)}`;
  if (side.phase[i] === FREE) return `${start}.`;
  const held = STAGES.map((stage) => `${count(side[stage][i])} ${stage === "adults" ? "beetles" : stage}`);
  return `${start}; ${held.join(", ")}; ${weight(side.larvaeMg[i])} of larvae.`;
};
