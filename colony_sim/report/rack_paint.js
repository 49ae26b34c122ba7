// The picture: both racks and the course of the harvest, drawn for a day.

// Mean mass (mg) of a larva from which its colour is deepest; days a mark stays as an outline;
// width (CSS pixels) of a rack on paper.
const HEAVY_MG = 100, KEPT_DAYS = 2, PRINTED = 330;
const canvases = sides.map((_, i) => $(`rack-${i}`));
const course = $("rack-course");
let colours = {};

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
const marking = (pen, side, day, bin, tile) => {
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

const drawBin = (pen, side, day, bin, colour) => {
  const tile = layout.tiles[bin], i = day * data.bins + bin;
  const { small, tileWidth, gauge } = layout;
  const phase = side.phase[i];
  box(pen, tile, phase, colour);
  const right = tile.x + tileWidth - (small ? 4 : 7);
  const since = phase === FREE ? "" : `${side.since[i]}${small ? "" : " "}d`;
  if (small) {
    write(pen, `${bin + 1}`, tile.x + 4, tile.y + 13, 10.5, { bold: true });
    write(pen, since, right, tile.y + 13, 9.5, { right: true, colour: colours.soft });
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
  marking(pen, side, day, bin, tile);
};

const drawTray = (pen, side, day) => {
  const tile = layout.tiles[data.bins];
  box(pen, tile, FREE, colours.line);
  write(pen, "tray", tile.x + (layout.small ? 5 : 7), tile.y + (layout.small ? 13 : 17),
    layout.small ? 11 : 14, { bold: true });
  stack(pen, tile, [0, 0, side.trayPupae[day], side.trayAdults[day]], 0);
};

const drawCourse = (day) => {
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

const draw = (day) => {
  sides.forEach((side, k) => {
    const pen = layout.pens[k];
    pen.clearRect(0, 0, layout.width, layout.height);
    for (let bin = 0; bin < data.bins; bin++) drawBin(pen, side, day, bin, colours.policies[k]);
    drawTray(pen, side, day);
  });
  drawCourse(day);
};
