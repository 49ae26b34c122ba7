// Logs rows by tapping. A served page posts them and keeps them while the network is away; a closed
// page gathers them to be saved. `data` comes from assimilation/page.py.

const $ = (query) => document.querySelector(query);
const KEPT = `rows of the rack ${location.pathname}`;
const RETRY_MS = 4000, PATIENCE_MS = 8000, LOOK_MS = 1000, GLANCE_MS = 15000;

// A row: key, cells, state (queued, written, refused), fresh (the state shown does not know it),
// tried (may have reached the server), undo (is to be taken out).
const read = () => {
  try { return JSON.parse(sessionStorage.getItem(KEPT)) || []; } catch { return []; }
};
const keep = () => {
  const left = data.served ? rows.filter((row) => row.state === "queued" || row.undo) : rows;
  try { sessionStorage.setItem(KEPT, JSON.stringify(left)); } catch { /* Kept by the tab alone. */ }
};
const rows = data.rows.map((row) => ({ ...row, state: "written" }));
for (const row of read()) {
  const known = rows.find((one) => one.key === row.key);
  if (known) known.undo = row.undo;
  else rows.push(row);
}

// Not randomUUID: a page of the home network has no certificate.
const newKey = () =>
  [...crypto.getRandomValues(new Uint8Array(16))].map((one) => one.toString(16).padStart(2, "0")).join("");
const today = () => {
  if (data.day) return data.day;
  const now = new Date();
  const two = (number) => String(number).padStart(2, "0");
  return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
};
const said = (text) => { if ($("#said").textContent !== text) $("#said").textContent = text; };

// ---- What is shown

const inWords = ({ bin, action, stage, count, grams, date }) => {
  const much = [count && `${count}${stage ? ` ${stage}` : ""}`, grams && (/[a-z]/i.test(grams) ? grams : `${grams} g`)].filter(Boolean).join(", ");
  return `${date}, bin ${bin}: ${action}${much ? `, ${much}` : ""}`;
};
const there = () => rows.filter((row) => !row.undo && row.state !== "refused");
const doing = ({ bin, action }) =>
  there().find((row) => row.fresh && row.cells.bin === bin && row.cells.action === action);
const show = () => {
  const list = $(".logged");
  list.replaceChildren(...there().slice(-12).reverse().map((row) => {
    const item = document.createElement("li"), text = document.createElement("span");
    const undo = document.createElement("button");
    text.textContent = inWords(row.cells) + (data.served && row.state === "queued" ? " (waits for the network)" : "");
    undo.type = "button";
    undo.textContent = "Undo";
    undo.setAttribute("aria-label", `Undo: ${inWords(row.cells)}`);
    undo.addEventListener("click", () => take(row));
    item.append(text, undo);
    return item;
  }));
  $("#logged").hidden = !list.children.length;
  for (const box of document.querySelectorAll("[data-work]")) box.checked = Boolean(doing(data.work[box.dataset.work]));
};

// ---- Rows come and go

const waiting = () => rows.filter((row) => row.undo || row.state === "queued");
let away = false, sending = null, stale = false, newer = false;

const ask = async (path, body) => {
  const options = body === undefined ? {} : {
    method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body),
  };
  const reply = await fetch(path, { ...options, signal: AbortSignal.timeout(PATIENCE_MS) });
  return { code: reply.status, ...(await reply.json()) };
};
const sendOne = async (row) => {
  const undo = row.undo;
  row.tried = true;
  keep();
  const reply = await ask(undo ? "undo" : "rows", undo ? { key: row.key } : { key: row.key, cells: row.cells });
  if (reply.code === 200) {
    if (undo) rows.splice(rows.indexOf(row), 1);
    else row.state = "written";
    status(reply);
    said(undo ? "Taken out of the log again." : `In the log: ${inWords(row.cells)}.`);
  } else if (reply.code === 422) {
    row.why = reply.why;
    said(`${undo ? "Not taken out" : "Not logged"}: ${reply.why}`);
    if (undo) row.undo = false;
    else {
      row.state = "refused";
      rows.splice(rows.indexOf(row), 1);
    }
  } else throw new Error(reply.why);
};
const sendAll = async () => {
  for (let row; (row = waiting()[0]); ) {
    try {
      await sendOne(row);
      away = false;
    } catch (error) {
      away = true;
      const shut = error.name === "Error" && error.message;
      const count = waiting().length;
      said(shut ? error.message : `The network is away. ${count} ${count === 1 ? "row waits" : "rows wait"} on this page; leave it open.`);
      return;
    } finally {
      keep();
      show();
    }
  }
};
// One after another, in the order of tapping.
const send = () => {
  if (!data.served) return Promise.resolve();
  sending ??= sendAll().finally(() => { sending = null; });
  return sending.then(() => (waiting().length && !away ? send() : undefined));
};
const add = (cells) => {
  const row = { key: newKey(), cells, state: "queued", fresh: true };
  rows.push(row);
  keep();
  show();
  return row;
};
const take = (row) => {
  if (!data.served || (row.state === "queued" && !row.tried)) {
    rows.splice(rows.indexOf(row), 1);
    said("Taken out again.");
  } else row.undo = true;
  keep();
  show();
  return send();
};

// ---- A form for a row

const dialog = $("#form"), form = dialog.querySelector("form"), field = form.elements;
let asked = null;
const choices = (select, texts) => select.replaceChildren(...texts.map(([value, text]) => new Option(text, value)));
const open = (bin, action) => {
  const { about, asks, needs, stages } = data.forms[action];
  asked = { bin, action };
  form.reset();
  $("#form-head").textContent = `${action[0].toUpperCase()}${action.slice(1)}, bin ${bin}`;
  $("#form-about").textContent = `${about[0].toUpperCase()}${about.slice(1)}.`;
  $("#form-fault").textContent = "";
  field.date.value = field.date.max = today();
  choices(field.stage, stages.map((stage) => [stage, stage]));
  const free = data.free.filter((name) => name !== bin), other = data.bins.filter((name) => name !== bin && !free.includes(name));
  choices(field.into, [["", "not yet"], ...free.map((name) => [name, `${name} (free)`]), ...other.map((name) => [name, name])]);
  const shown = { stage: stages.length, into: action === "beetles out", about: asks.includes("count") || asks.includes("grams") };
  for (const label of form.querySelectorAll("[data-for]")) {
    const name = label.dataset.for;
    label.hidden = !(name in shown ? shown[name] : asks.includes(name));
  }
  for (const name of ["count", "grams"]) field[name].required = needs.includes(name);
  field.until.required = asks.includes("until");
  field.until.max = today();
  dialog.showModal();
  (asks.length ? field[asks[0]] : form.querySelector("[type=submit]")).focus();
};
const cellsOf = ({ bin, action }) => {
  const cells = { date: field.date.value, bin, action, note: field.note.value.trim() };
  const { asks, stages } = data.forms[action];
  if (stages.length) cells.stage = field.stage.value;
  for (const name of asks) cells[name] = field[name].value.trim();
  if (asks.some((name) => cells[name]) && field.about.checked) cells.about = "yes";
  return Object.fromEntries(Object.entries(cells).filter(([, cell]) => cell));
};
form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const button = form.querySelector("[type=submit]");
  if (button.disabled) return;
  button.disabled = true;
  const cells = cellsOf(asked), into = asked.action === "beetles out" && field.into.value;
  const first = add(cells);
  await send();
  button.disabled = false;
  if (first.state === "refused") {
    $("#form-fault").textContent = `Not logged: ${first.why}`;
    return;
  }
  if (into) add({ date: cells.date, bin: into, action: "beetles in" });
  dialog.close();
  await send();
});
$("#form-leave").addEventListener("click", () => dialog.close());
dialog.addEventListener("close", show);

// ---- Taps

for (const link of document.querySelectorAll(".rack a")) {
  link.addEventListener("click", () => {
    const bin = $(link.getAttribute("href"));
    bin.open = true;
    bin.querySelector("summary").focus({ preventScroll: true });
  });
}
for (const button of document.querySelectorAll("[data-action]")) {
  button.addEventListener("click", () => open(button.dataset.bin, button.dataset.action));
}
for (const box of document.querySelectorAll("[data-work]")) {
  box.addEventListener("change", () => {
    const work = data.work[box.dataset.work], done = doing(work);
    if (!box.checked) { if (done) take(done); return; }
    // Numbers of a harvest or of beetles are worth a look at the scales.
    if (data.forms[work.action].asks.length) open(work.bin, work.action);
    else { add({ date: today(), bin: work.bin, action: work.action }); send(); }
  });
}

// ---- A served page: the state shown, and working it out again

const status = (found) => {
  stale = found.stale;
  newer = found.version !== data.version;
  $("#before").hidden = !(stale || found.working || newer);
  $("#again").disabled = found.working;
  $("#again").textContent = newer && !found.working && !stale ? "Show it as it is now" : "Work it out again";
  const far = $("#far");
  far.hidden = !found.working;
  if (found.working) {
    far.value = found.total ? found.done / found.total : 0;
    const left = found.left === null ? "" : `, about ${Math.max(1, Math.round(found.left))} s to go`;
    said(`Working it out again: ${found.done} of ${found.total}${left}. You can go on logging.`);
  }
  if (found.fault) said(found.fault);
  // Nothing that is being written is lost.
  if (newer && !found.working && !dialog.open && !waiting().length) location.reload();
};
let timer = 0;
const look = async () => {
  clearTimeout(timer);
  let working = false;
  try {
    const found = await ask("status");
    if (found.code === 200) {
      status(found);
      working = found.working;
    } else said(found.why);
  } catch { /* Said when there is something to send. */ }
  clearTimeout(timer);
  timer = setTimeout(look, working ? LOOK_MS : GLANCE_MS);
};
if (data.served) {
  $("#again").addEventListener("click", async () => {
    if (newer && !stale) { location.reload(); return; }
    await send();
    try {
      const found = await ask("again", {});
      if (found.code !== 200) said(found.why);
      look();
    } catch { said("The network is away: try again when it is back."); }
  });
  addEventListener("online", send);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) send(); });
  setInterval(() => { if (waiting().length) send(); }, RETRY_MS);
  look();
  send();
} else {
  // As a log's row: what parts its columns, and quotes where they are needed.
  const cell = (text) => (text.includes(data.parted) || /["\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);
  const line = (cells) => data.columns.map((name) => cell(cells[name] || "")).join(data.parted);
  const lines = () => there().map((row) => `${line(row.cells)}\n`).join("");
  $("#save").addEventListener("click", () => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([`${data.columns.join(data.parted)}\n${lines()}`], { type: "text/csv" }));
    link.download = `rows-${today()}.csv`;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
    said("Saved. Put the rows at the end of your log.");
  });
  $("#copy").addEventListener("click", async () => {
    try {
      await navigator.clipboard.writeText(lines());
      said("Copied. Put the rows at the end of your log.");
    } catch { said("This browser does not let a page copy: save the rows."); }
  });
}
show();
