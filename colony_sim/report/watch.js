(() => {
  "use strict";
  const $ = (id) => document.getElementById(id);
  const data = JSON.parse($("rack-data").textContent);
  const ARRAYS = { u1: Uint8Array, u2: Uint16Array, u4: Uint32Array };
  const STAGES = ["eggs", "larvae", "pupae", "adults"];
  const HEAVY_MG = 100, KEPT_DAYS = 2, PRINTED = 330;
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
    // Marks by day and bin: the last word of the list that was done counts most.
    found.done = new Map();
    for (let i = 0; i < marks.day.length; i++) {
      const key = marks.day[i] * data.bins + marks.bin[i];
      const list = found.done.get(key) || [];
      list.push({ word: data.words[marks.word[i]], mg: marks.mg[i] });
      found.done.set(key, list);
    }
    return found;
  };
  const sides = data.sides.map(unpackAll);
  const canvases = sides.map((_, i) => $(`rack-${i}`));
  const course = $("rack-course"), view = $("rack-view"), section = $("rack");
  const play = $("rack-play"), slide = $("rack-slide"), speed = $("rack-speed");
  const less = window.matchMedia("(prefers-reduced-motion: reduce)");
  const dark = window.matchMedia("(prefers-color-scheme: dark)");

  let day = 0, playing = false, last = 0, owed = 0, telling = 0;
  let colours = {};
  if (less.matches) speed.value = "1";

  // ---- words ------------------------------------------------------------------------

  const digits = (x) => {
    if (x === 0) return "0";
    const rounded = Number(x.toPrecision(3));
    return rounded >= 100 ? rounded.toFixed(0) : x.toPrecision(3);
  };
  const grams = (mg) => (mg >= 1e6 ? (mg / 1000).toFixed(0) : digits(mg / 1000));
  const duration = (minutes) => (minutes < 60 ? `${minutes} min` : `${digits(minutes / 60)} h`);
  const SAY = {
    harvestedMg: (x) => `${grams(x)} g`, harvestMg: (x) => `${grams(x)} g`,
    standingMg: (x) => `${grams(x)} g`, breeders: (x) => `${x}`, minutes: duration,
  };
  const doneOn = (side, at, bin) => side.done.get(at * data.bins + bin) || [];
  const markText = (mark) => (mark.word === "harvest" ? `harvest ${grams(mark.mg)} g` : mark.word);

  const doneInWords = (side) => {
    const by = new Map();
    for (let bin = 0; bin < data.bins; bin++) {
      for (const { word } of doneOn(side, day, bin)) by.set(word, [...(by.get(word) || []), bin + 1]);
    }
    if (!by.size) return "nothing";
    return [...by].map(([word, bins]) => `${word} (bin ${bins.join(", ")})`).join("; ");
  };

  const inWords = (side) => {
    if (side.diedOut && data.first + day >= side.diedOut) {
      return `“${side.policy}”: the colony died out on day ${side.diedOut}; ` +
        `${grams(side.harvestedMg[day])} g harvested in all.`;
    }
    let used = 0;
    const count = STAGES.map(() => 0);
    for (let bin = 0; bin < data.bins; bin++) {
      const i = day * data.bins + bin;
      used += side.phase[i] !== FREE;
      STAGES.forEach((stage, k) => { count[k] += side[stage][i]; });
    }
    count[2] += side.trayPupae[day];
    count[3] += side.trayAdults[day];
    return `“${side.policy}”: ${used} of ${data.bins} bins in use; ${count[0]} eggs, ${count[1]} ` +
      `larvae (${grams(side.standingMg[day])} g), ${count[2]} pupae, ${count[3]} beetles; ` +
      `${grams(side.harvestedMg[day])} g harvested so far. Done today: ${doneInWords(side)}.`;
  };

  // ---- drawing ----------------------------------------------------------------------

  const NAMES = ["paper", "ink", "soft", "rule", "track", "box", "line", "eggs", "larva-small", "larva-large",
    "pupae", "adults", "mass", "mark", "mark-ink"];
  const readColours = () => {
    const style = getComputedStyle(document.documentElement);
    colours = Object.fromEntries(NAMES.map((name) => [name, style.getPropertyValue(`--${name}`).trim()]));
    colours.policies = canvases.map((canvas) => getComputedStyle(canvas).color);
    const parts = (hex) => [1, 3, 5].map((i) => parseInt(hex.slice(i, i + 2), 16));
    const [small, large] = [parts(colours["larva-small"]), parts(colours["larva-large"])];
    colours.larvae = Array.from({ length: 11 }, (_, k) =>
      `rgb(${small.map((from, i) => Math.round(from + ((large[i] - from) * k) / 10)).join(",")})`);
  };

  const size = (canvas, width, height, ratio) => {
    canvas.width = Math.round(width * ratio);
    canvas.height = Math.round(height * ratio);
    canvas.style.aspectRatio = `${width} / ${height}`;
    const pen = canvas.getContext("2d");
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    return pen;
  };

  let layout = null;
  const arrange = (printed) => {
    const width = printed || Math.max(120, Math.floor(canvases[0].clientWidth));
    const ratio = printed ? 3 : window.devicePixelRatio || 1;
    const small = width < 420, gap = small ? 4 : 7, least = small ? 50 : 92;
    const across = Math.max(1, Math.min(data.bins + 1, Math.floor((width + gap) / (least + gap))));
    const tileWidth = (width - gap * (across - 1)) / across, tileHeight = small ? 84 : 116;
    const head = small ? 15 : 34, foot = small ? 14 : 18, pad = small ? 4 : 6;
    const gauge = small ? 7 : 12;
    const tiles = [];
    for (let i = 0; i <= data.bins; i++) {
      const x = (i % across) * (tileWidth + gap);
      const y = Math.floor(i / across) * (tileHeight + gap);
      tiles.push({
        x, y, bottom: y + tileHeight - foot, height: tileHeight - head - foot,
        left: x + pad, wide: tileWidth - 2 * pad - gauge - 3, gaugeLeft: x + tileWidth - pad - gauge,
      });
    }
    const rows = Math.ceil(tiles.length / across);
    const height = rows * (tileHeight + gap) - gap;
    layout = { width, small, tileWidth, tileHeight, tiles, gauge, height };
    layout.pens = canvases.map((canvas) => size(canvas, width, height, ratio));
    layout.courseWidth = printed ? 2 * printed : Math.max(200, Math.floor(course.clientWidth));
    layout.coursePen = size(course, layout.courseWidth, 130, ratio);
    for (const canvas of canvases) {
      canvas.dataset.tiles = JSON.stringify(tiles.map((t) => [t.left, t.wide, t.bottom, t.height, t.gaugeLeft]));
    }
  };

  const FAMILY = '"Segoe UI", "Noto Sans", "DejaVu Sans", Helvetica, sans-serif';
  const write = (pen, text, x, y, px, { bold = false, right = false, colour = colours.ink } = {}) => {
    pen.font = `${bold ? "700 " : ""}${px}px ${FAMILY}`;
    pen.fillStyle = colour;
    pen.textAlign = right ? "right" : "left";
    pen.fillText(text, x, y);
  };

  const stack = (pen, tile, counts, meanMg) => {
    const shade = colours.larvae[Math.round(10 * Math.min(1, meanMg / HEAVY_MG))];
    const fills = [colours.eggs, shade, colours.pupae, colours.adults];
    let low = tile.bottom;
    counts.forEach((count, k) => {
      if (!count) return;
      const tall = Math.max(1, (count / data.fullInsects) * tile.height);
      pen.fillStyle = fills[k];
      pen.fillRect(tile.left, low - tall, tile.wide, tall);
      low -= tall;
    });
  };

  const SHORT = { "beetles in": "in", "beetles out": "out" };
  const marking = (pen, side, bin, tile) => {
    for (let ago = 0; ago <= KEPT_DAYS; ago++) {
      const list = day - ago < 0 ? [] : doneOn(side, day - ago, bin);
      if (!list.length) continue;
      const { small, tileWidth } = layout;
      const mark = list[list.length - 1];
      let text = small ? SHORT[mark.word] || mark.word : markText(mark);
      const px = small ? 10 : 11.5, tall = small ? 12 : 16;
      pen.font = `${px}px ${FAMILY}`;
      const inner = tileWidth - 4;
      if (pen.measureText(text).width > inner - 4) text = mark.word;
      const y = tile.bottom + 1;
      if (ago === 0) {
        pen.fillStyle = colours.mark;
        pen.fillRect(tile.x + 2, y, inner, tall);
      } else {
        pen.strokeStyle = colours.line;
        pen.setLineDash([]);
        pen.lineWidth = 1;
        pen.strokeRect(tile.x + 2.5, y + 0.5, inner - 1, tall - 1);
      }
      write(pen, text, tile.x + 5, y + tall - (small ? 3 : 4), px,
        { colour: ago === 0 ? colours["mark-ink"] : colours.ink });
      return;
    }
  };

  const box = (pen, tile, phase, colour) => {
    const { tileWidth, tileHeight } = layout;
    pen.fillStyle = colours.box;
    pen.fillRect(tile.x, tile.y, tileWidth, tileHeight);
    const thick = phase === BREEDING ? 3 : 1;
    pen.lineWidth = thick;
    pen.strokeStyle = phase === BREEDING ? colour : colours.line;
    pen.setLineDash(phase === FREE ? [4, 3] : []);
    pen.strokeRect(tile.x + thick / 2, tile.y + thick / 2, tileWidth - thick, tileHeight - thick);
    pen.setLineDash([]);
  };

  const drawBin = (pen, side, bin, colour) => {
    const tile = layout.tiles[bin], i = day * data.bins + bin;
    const { small, tileWidth, gauge } = layout;
    const phase = side.phase[i];
    box(pen, tile, phase, colour);
    const right = tile.x + tileWidth - (small ? 5 : 7);
    const since = phase === FREE ? "" : `${side.since[i]}${small ? "" : " "}d`;
    if (small) {
      write(pen, `${bin + 1}`, tile.x + 5, tile.y + 13, 11, { bold: true });
      write(pen, since, right, tile.y + 13, 10, { right: true, colour: colours.soft });
    } else {
      write(pen, `${bin + 1}`, tile.x + 7, tile.y + 17, 14, { bold: true });
      write(pen, data.phases[phase], right, tile.y + 16, 11.5, { right: true });
      const text = phase === FREE ? "" : `${phase === BREEDING ? "in" : "out"} ${since}`;
      write(pen, text, right, tile.y + 30, 11.5, { right: true, colour: colours.soft });
    }
    if (phase !== FREE) {
      pen.fillStyle = colours.track;
      pen.fillRect(tile.left, tile.bottom - tile.height, tile.wide, tile.height);
      pen.fillRect(tile.gaugeLeft, tile.bottom - tile.height, gauge, tile.height);
      const larvae = side.larvae[i];
      stack(pen, tile, STAGES.map((stage) => side[stage][i]), larvae ? side.larvaeMg[i] / larvae : 0);
      const tall = (side.larvaeMg[i] / 1000 / data.fullGrams) * tile.height;
      pen.fillStyle = colours.mass;
      pen.fillRect(tile.gaugeLeft, tile.bottom - tall, gauge, tall);
    }
    marking(pen, side, bin, tile);
  };

  const drawTray = (pen, side) => {
    const tile = layout.tiles[data.bins];
    box(pen, tile, FREE, colours.line);
    write(pen, "tray", tile.x + (layout.small ? 5 : 7), tile.y + (layout.small ? 13 : 17),
      layout.small ? 11 : 14, { bold: true });
    stack(pen, tile, [0, 0, side.trayPupae[day], side.trayAdults[day]], 0);
  };

  const drawCourse = () => {
    const pen = layout.coursePen, width = layout.courseWidth, height = 130;
    const left = 46, right = width - 8, top = 8, low = height - 20;
    const end = data.days - 1;
    const most = Math.max(1, ...sides.map((side) => side.harvestedMg[end]));
    const x = (at) => left + ((right - left) * at) / Math.max(1, end);
    const y = (mg) => low - ((low - top) * mg) / most;
    pen.clearRect(0, 0, width, height);
    pen.lineWidth = 1;
    pen.strokeStyle = colours.rule;
    pen.setLineDash([]);
    pen.strokeRect(left, top, right - left, low - top);
    write(pen, grams(most), left - 5, top + 8, 11, { right: true, colour: colours.soft });
    write(pen, "0", left - 5, low, 11, { right: true, colour: colours.soft });
    write(pen, `day ${data.first}`, left, height - 5, 11, { colour: colours.soft });
    write(pen, `day ${data.first + end}`, right, height - 5, 11, { right: true, colour: colours.soft });
    sides.forEach((side, k) => {
      for (const [to, alpha] of [[end, 0.35], [day, 1]]) {
        pen.beginPath();
        for (let at = 0; at <= to; at++) pen.lineTo(x(at), y(side.harvestedMg[at]));
        pen.globalAlpha = alpha;
        pen.strokeStyle = colours.policies[k];
        pen.lineWidth = 2.2;
        pen.setLineDash(k ? [6, 4] : []);
        pen.stroke();
      }
      pen.globalAlpha = 1;
    });
    pen.setLineDash([]);
    pen.strokeStyle = colours.ink;
    pen.lineWidth = 1.5;
    pen.beginPath();
    pen.moveTo(x(day), top);
    pen.lineTo(x(day), low);
    pen.stroke();
  };

  const draw = () => {
    sides.forEach((side, k) => {
      const pen = layout.pens[k];
      pen.clearRect(0, 0, layout.width, layout.height);
      for (let bin = 0; bin < data.bins; bin++) drawBin(pen, side, bin, colours.policies[k]);
      drawTray(pen, side);
    });
    drawCourse();
  };

  // ---- text, controls ---------------------------------------------------------------

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
        const texts = [data.phases[phase], phase === FREE ? "" : `${side.since[i]}`,
          ...STAGES.map((stage) => `${side[stage][i]}`), (side.larvaeMg[i] / 1000).toFixed(1),
          doneOn(side, day, bin).map(markText).join(", ")];
        texts.forEach((text, c) => set(rows[bin].cells[c + 1], text));
      }
      const tray = rows[data.bins].cells;
      set(tray[5], `${side.trayPupae[day]}`);
      set(tray[6], `${side.trayAdults[day]}`);
    });
  };

  const say = () => set($("rack-told"), `Day ${data.first + day}. ${sides.map(inWords).join(" ")}`);

  // Read out only while nothing moves, and once the reader stops stepping.
  const tell = () => {
    window.clearTimeout(telling);
    if (playing) return;
    telling = window.setTimeout(say, 150);
  };

  const update = () => {
    const now = data.first + day;
    draw();
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
    day = Math.max(0, Math.min(data.days - 1, to));
    update();
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

  const redraw = () => { readColours(); arrange(); draw(); };
  new ResizeObserver(() => {
    const printing = document.documentElement.dataset.print !== undefined;
    if (!printing && Math.floor(canvases[0].clientWidth) !== layout.width) redraw();
  }).observe(view);
  dark.addEventListener("change", redraw);
  window.addEventListener("beforeprint", () => {
    if (playing) stop();
    document.documentElement.dataset.print = "";
    readColours();
    arrange(PRINTED);
    draw();
    say();
  });
  window.addEventListener("afterprint", () => {
    delete document.documentElement.dataset.print;
    redraw();
  });

  section.dataset.playing = "no";
  readColours();
  arrange();
  go(0);
})();
