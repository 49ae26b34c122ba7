// Keeps a drawn rack up to date. drawnRack(svg, places) gives functions to show a state of it and
// to let signs fly from one place to another. `places` and states come from drawing/live.py.

const drawnRack = (svg, places) => {
  const SVG = "http://www.w3.org/2000/svg";
  const NEAREST = 100;
  const marks = new Map();
  for (const mark of svg.querySelectorAll("[data-of]")) {
    const key = `${mark.dataset.bin || -1} ${mark.dataset.of}`;
    if (!marks.has(key)) marks.set(key, []);
    marks.get(key).push(mark);
  }
  const of = (bin, kind) => marks.get(`${bin} ${kind}`) || [];
  const rounded = (x) => Math.round(x * NEAREST) / NEAREST;
  const put = (mark, x, y, across = 1, down = 1, turn = 0) => {
    const turned = turn ? ` rotate(${turn})` : "";
    const text = `translate(${rounded(x)} ${rounded(y)})${turned} scale(${rounded(across)} ${rounded(down)})`;
    if (mark.getAttribute("transform") !== text) mark.setAttribute("transform", text);
  };
  const show = (mark, shown) => {
    if (shown === !mark.hasAttribute("display")) return;
    if (shown) mark.removeAttribute("display");
    else mark.setAttribute("display", "none");
  };
  const some = (list, count) => list.forEach((mark, slot) => show(mark, slot < count));

  // As bins.place() of the drawing.
  const spot = (kind, slot, depth, size) => {
    const [x, share, turn] = places.spots[kind][slot];
    const large = kind === "larvae" ? places.larvaSizes[size] : places.sizes[kind];
    const flip = slot % 3 === 1 ? -large : large;
    if (places.onTop.includes(kind)) {
      return [x, Math.min(places.floor - 3, places.floor - depth + share), flip, large, turn];
    }
    const inset = Math.min(4, depth / 2);
    const y = places.floor - inset - share * Math.max(0, depth - 2 * inset);
    return [x, y, flip, large, turn];
  };

  const last = [];
  const bin = (index, state) => {
    const text = state.join();
    if (last[index] === text) return;
    last[index] = text;
    const [phase, frass, bran, moist, size, ...signs] = state;
    const [left, top] = places.offsets[index];
    const used = phase !== 0, depth = frass + bran;
    for (const mark of of(index, "free")) show(mark, !used);
    for (const mark of of(index, "box")) show(mark, used);
    for (const [kind, up, tall] of [["bran", depth, depth], ["frass", frass, frass], ["crust", depth, 1]]) {
      for (const mark of of(index, kind)) {
        show(mark, used && (kind !== "crust" || depth > 0));
        put(mark, left, top + places.floor - up, 1, tall);
      }
    }
    for (const mark of of(index, "moisture")) {
      show(mark, used && moist === 1);
      put(mark, left + places.moisture[0], top + places.floor - depth - places.moisture[1]);
    }
    places.kinds.forEach((kind, k) => {
      of(index, kind).forEach((mark, slot) => {
        const shown = used && slot < signs[k];
        if (shown) {
          const [x, y, across, down, turn] = spot(kind, slot, depth, size);
          put(mark, left + x, top + y, across, down, turn);
        }
        show(mark, shown);
      });
    });
  };
  // The first line of a bin with beetles in it is bold.
  const label = (index, lines, bold) => {
    of(index, "label-line").forEach((mark, k) => {
      const text = lines[k] || "";
      if (mark.textContent !== text) mark.textContent = text;
      const weight = bold && k === 0 ? "700" : "400";
      if ((mark.getAttribute("font-weight") || "400") !== weight) mark.setAttribute("font-weight", weight);
    });
  };
  const tray = ([pupae, adults]) => { some(of(-1, "tray-pupae"), pupae); some(of(-1, "tray-adults"), adults); };
  const bowl = (count) => some(of(-1, "bowl-larvae"), count);
  const all = (state) => {
    state.bins.forEach((one, index) => bin(index, one));
    state.labels.forEach((lines, index) => label(index, lines, state.bins[index][0] === 1));
    tray(state.tray);
    bowl(state.bowl);
  };

  const calm = () => window.matchMedia("(prefers-reduced-motion: reduce)").matches;
  const middle = (index) => {
    const [left, top] = places.offsets[index];
    return [left + places.binWidth / 2, top + places.floor - 20];
  };
  const ends = {
    tray: () => [places.size[0] / 2, 20],
    bowl: () => [places.size[0] / 2, places.size[1] - 52],
  };
  const point = (end) => (typeof end === "number" ? middle(end) : ends[end]());
  // Signs of a kind ("beetle", "larva", "pupa") go in an arc from a bin, the tray or the bowl to another.
  const fly = (glyph, from, to, count = 6, ms = 900) => {
    if (calm() || !svg.animate) return;
    const [a, b] = [point(from), point(to)];
    for (let k = 0; k < count; k++) {
      const mark = document.createElementNS(SVG, "use");
      mark.setAttribute("href", `#${places.prefix}${glyph}`);
      mark.setAttribute("aria-hidden", "true");
      const side = (k - (count - 1) / 2) * 9;
      const high = Math.min(a[1], b[1]) - 26;
      const at = (x, y) => `translate(${x + side}px, ${y}px)`;
      svg.append(mark);
      mark.animate(
        [{ transform: at(...a) }, { transform: at((a[0] + b[0]) / 2, high), offset: 0.45 }, { transform: at(...b) }],
        { duration: ms, delay: 45 * k, easing: "ease-in-out", fill: "both" },
      ).finished.then(() => mark.remove(), () => mark.remove());
    }
  };
  return { all, bin, label, tray, bowl, fly };
};
