// The picture: both racks on a day, moves from the day before, and the course of the harvest.

const SIGNS = data.sides[0].places.kinds.length + 5;
const racks = data.sides.map((side, k) => drawnRack($(`rack-${k}`).querySelector("svg"), side.places));
const cursor = $("rack-cursor");

const labelOf = (side, i) => {
  const phase = side.phase[i];
  if (phase === FREE) return ["free"];
  return [phase === BREEDING ? `in ${side.inFor[i]} d` : `out ${side.outFor[i]} d`];
};

const draw = (day) => {
  sides.forEach((side, k) => {
    for (let bin = 0; bin < data.bins; bin++) {
      const i = day * data.bins + bin;
      racks[k].bin(bin, [...side.drawn.subarray(i * SIGNS, (i + 1) * SIGNS)]);
      racks[k].label(bin, labelOf(side, i), side.phase[i] === BREEDING);
    }
    racks[k].tray([side.tray[2 * day], side.tray[2 * day + 1]]);
    racks[k].bowl(side.bowl[day]);
  });
  const share = data.days > 1 ? day / (data.days - 1) : 0;
  cursor.setAttribute("transform", `translate(${(1000 * share).toFixed(1)} 0)`);
};

// What was moved on the day flies from where it was to where it is.
const MOST = 7;
const flights = (day, ms) => {
  sides.forEach((side, k) => {
    const all = [];
    for (let bin = 0; bin < data.bins; bin++) {
      for (const mark of doneOn(side, day, bin)) all.push({ ...mark, bin });
    }
    const into = all.find(({ word }) => word === "beetles in");
    for (const { word, amount, bin } of all) {
      const some = Math.min(MOST, 1 + Math.floor(amount / 40));
      if (word === "harvest" && amount) racks[k].fly("larva", bin, "bowl", some, ms);
      if (word === "pupae to the tray") racks[k].fly("pupa", bin, "tray", some, ms);
      if (word === "beetles out" && into) racks[k].fly("beetle", bin, into.bin, MOST, ms);
    }
  });
};
