"use strict";
// One slide at a time; the notes are a second window that this page writes and keeps in step.
(() => {
  const told = JSON.parse(document.getElementById("told").textContent);
  const slides = [...document.querySelectorAll("section")];
  const byId = (name) => document.getElementById(name);
  let at = 0, notes = null, idle = 0;

  function show(place) {
    at = Math.max(0, Math.min(slides.length - 1, place));
    slides.forEach((slide, k) => { slide.hidden = k !== at; });
    byId("place").textContent = `${at + 1} of ${slides.length}`;
    history.replaceState(null, "", `#${at + 1}`);
    tell();
  }

  function open() {
    notes = window.open("", "colony-notes", "width=900,height=720");
    if (!notes) { return; }
    const page = notes.document;
    page.title = `Notes: ${document.title}`;
    page.documentElement.lang = "en";
    page.head.querySelectorAll("style").forEach((one) => one.remove());
    const style = page.createElement("style");
    style.textContent = "body{font:22px/1.45 sans-serif;margin:1.2em;background:#fbf7ef;" +
      "color:#241e17;max-width:44em}h1{font-size:28px}h2{font-size:18px;margin:1.2em 0 .2em}" +
      "p{margin:.3em 0}#then{color:#5e564b}button{font:inherit;min-height:44px;padding:0 1em}";
    page.head.append(style);
    page.body.replaceChildren();
    const main = page.createElement("main");
    for (const [tag, id] of [["p", "where"], ["h1", "title"], ["h2", "h-say"], ["p", "say"],
      ["h2", "h-but"], ["p", "but"], ["h2", "h-seen"], ["p", "seen"], ["p", "then"]]) {
      const part = page.createElement(tag);
      part.id = id;
      main.append(part);
    }
    page.body.append(main);
    for (const [id, text] of [["h-say", "Say"], ["h-but", "But"], ["h-seen", "In the picture"]]) {
      page.getElementById(id).textContent = text;
    }
    for (const [text, step] of [["Back", -1], ["Next", 1]]) {
      const button = page.createElement("button");
      button.type = "button";
      button.textContent = text;
      button.addEventListener("click", () => show(at + step));
      main.append(button, " ");
    }
    notes.onkeydown = key;
    tell();
  }

  function tell() {
    if (!notes || notes.closed) { return; }
    const one = told[at], next = told[at + 1], page = notes.document;
    const put = (id, text) => { page.getElementById(id).textContent = text; };
    put("where", `${at + 1} of ${slides.length}${one.talk ? "" : ", if somebody asks"}`);
    put("title", one.title);
    put("say", one.say);
    put("but", one.caveat);
    put("seen", one.alt);
    put("then", next ? `Then: ${next.title}` : "The end.");
  }

  function full() {
    if (document.fullscreenElement) { document.exitFullscreen(); }
    else { document.documentElement.requestFullscreen().catch(() => {}); }
  }

  const steps = { ArrowRight: 1, ArrowDown: 1, PageDown: 1, " ": 1, ArrowLeft: -1, ArrowUp: -1,
    PageUp: -1, Backspace: -1 };
  function key(event) {
    if (event.ctrlKey || event.altKey || event.metaKey) { return; }
    if (event.key === " " && event.target.tagName === "BUTTON") { return; }
    if (event.key in steps) { show(at + steps[event.key]); }
    else if (event.key === "Home") { show(0); }
    else if (event.key === "End") { show(slides.length - 1); }
    else if (event.key.toLowerCase() === "n") { open(); }
    else if (event.key.toLowerCase() === "f") { full(); }
    else { return; }
    event.preventDefault();
  }

  document.addEventListener("keydown", key);
  document.querySelector("main").addEventListener("click", (event) => {
    show(at + (event.clientX < innerWidth / 3 ? -1 : 1));
  });
  document.addEventListener("pointermove", (event) => {
    if (event.pointerType === "touch") { document.body.classList.add("touch"); return; }
    document.body.classList.add("moving");
    clearTimeout(idle);
    idle = setTimeout(() => document.body.classList.remove("moving"), 2500);
  });
  document.addEventListener("pointerdown", (event) => {
    if (event.pointerType === "touch") { document.body.classList.add("touch"); }
  });
  byId("back").addEventListener("click", () => show(at - 1));
  byId("next").addEventListener("click", () => show(at + 1));
  byId("notes").addEventListener("click", open);
  byId("full").addEventListener("click", full);
  const first = Number.parseInt(location.hash.slice(1), 10);
  show(Number.isFinite(first) ? first - 1 : 0);
})();
