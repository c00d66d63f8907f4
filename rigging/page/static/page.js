"use strict";
// The page at the bench: sends photos (again until they have arrived), asks how things stand, shows it.
const el = (id) => document.getElementById(id);
const ARRIVED = "Arrived; reading it.";
const JSON_HEAD = { "content-type": "application/json" };
let state = null, chosen = null, spoken = "", waiting = [], sending = false, fetchedAt = 0, shown = "", asked = false;

function make(tag, text, cls) {
  const node = document.createElement(tag);
  if (text) node.textContent = text;
  if (cls) node.className = cls;
  return node;
}
function button(text, act) {
  const node = make("button", text);
  node.type = "button";
  node.addEventListener("click", act);
  return node;
}
const say = (text) => { el("said").textContent = text; };

async function post(path, body) {
  try {
    const answer = await fetch(path, { method: "POST", headers: JSON_HEAD, body: JSON.stringify(body) });
    const told = await answer.json();
    say(answer.ok ? (told.kept ? `Kept as survey ${told.kept}.` : "Noted.") : told.error);
    watch();
    return answer.ok;
  } catch { say("The server cannot be reached: this was NOT noted. Try again."); return false; }
}

// --- photos out: one after the other, each tried until the server has it; it counts a repeat once
function take(event) {
  for (const file of event.target.files) waiting.push(file);
  event.target.value = "";
  chosen = null;
  send();
}
async function send() {
  if (sending) return;
  sending = true;
  while (waiting.length) {
    say(`Sending ${waiting.length === 1 ? "the photo" : waiting.length + " photos"}…`);
    try {
      const answer = await fetch("/api/photos", { method: "POST", body: waiting[0], headers: { "content-type": "application/octet-stream" } });
      if (answer.status === 401) { location.href = "/enter"; return; }
      const told = await answer.json();
      waiting.shift();
      say(answer.ok ? (told.new ? ARRIVED : "This photo is here already; it counts once.") : `Not taken: ${told.error}`);
    } catch {
      say("No connection: the photo is kept here and sent again. Leave this page open.");
      await new Promise((go) => setTimeout(go, 2000));
    }
  }
  sending = false;
  watch();
}
addEventListener("beforeunload", (event) => { if (waiting.length) event.preventDefault(); });

// --- how things stand
async function refresh() {
  if (asked) return;
  asked = true;
  try {
    const answer = await fetch("/api/state");
    if (answer.status === 401) { location.href = "/enter"; return; }
    if (!answer.ok) throw new Error((await answer.json()).error);
    state = await answer.json();
    fetchedAt = Date.now();
    el("offline").hidden = true;
    if (el("said").textContent === ARRIVED && !state.photos.some((p) => p.status === "waiting")) say("");
    show();
  } catch (error) {
    el("offline").textContent = `What is shown may be old: ${error instanceof TypeError ? "the server cannot be reached" : error.message}.`;
    el("offline").hidden = false;
  } finally { asked = false; }
}
let timer = 0;
async function watch() {
  clearTimeout(timer);
  await refresh();
  const busy = state && state.photos.some((p) => p.status === "waiting");
  clearTimeout(timer);
  timer = setTimeout(watch, busy ? 400 : 4000);
}

function show() {
  showGlue();
  const text = JSON.stringify([{ ...state, glue: null }, chosen]);
  if (text === shown) return;
  shown = text;
  el("wing").textContent = state.wing;
  el("verdict").textContent = state.verdict;
  el("caution").textContent = state.caution;
  el("findings").replaceChildren(...[...(state.problem ? [state.problem] : []), ...state.findings].map((t) => make("li", t)));
  const newest = state.photos[0];
  const name = chosen || (newest && newest.station) || null;
  el("strip").replaceChildren(...state.stations.map((s) => {
    const node = button(s.name, () => { chosen = s.name; show(); el("now").scrollIntoView(); });
    node.classList.add(s.state.replace(" ", "-"));
    node.append(make("small", { conforming: "✓ in", nonconforming: "✗ out", undecided: "? open", "not measured": "– none" }[s.state]));
    node.setAttribute("aria-label", `${s.name}: ${s.state}`);
    if (s.name === name) node.setAttribute("aria-current", "true");
    return node;
  }));
  const here = el("strip").querySelector("[aria-current]");
  if (here) el("strip").scrollLeft = here.offsetLeft - el("strip").clientWidth / 2;
  fill(el("gs"), state.stations.map((s) => s.name), name);
  showNow(name, newest);
  el("photos").replaceChildren(...state.photos.map(photoRow));
}
function fill(select, names, chosenName) {
  if (select.options.length !== names.length) select.replaceChildren(...names.map((n) => new Option(n, n)));
  if (chosenName && document.activeElement !== select) select.value = chosenName;
}

function showNow(name, newest) {
  const parts = [];
  if (!chosen && newest && newest.status === "waiting") parts.push(make("p", "Reading the newest photo… below is how things stood before it.", "doubt"));
  if (!chosen && newest && newest.status === "no value" ) parts.push(...noValue(newest));
  const s = state.stations.find((x) => x.name === name);
  if (s) parts.push(stationCard(s));
  if (!parts.length) parts.push(make("p", "Photograph a station: card, drawn line and string or level in one picture."));
  el("now").replaceChildren(...parts);
}
function noValue(photo) {
  return [make("p", `The newest photo${photo.station ? " (" + photo.station + ")" : ""} has no chord angle: ${photo.chord}`, "bad"), tapButton(photo)];
}
function stationCard(s) {
  const card = make("div", "", `card ${s.state.replace(" ", "-")}`);
  card.append(make("p", `${s.name}: ${s.state}`, "state"));
  if (s.chord) card.append(make("p", s.chord.replace("± ", "±\u00a0"), "value"));
  else card.append(make("p", s.reason || "no photo yet"));
  for (const t of s.doubts) card.append(make("p", t, "doubt"));
  if (s.turn.length && s.doubts.length) card.append(make("p", "Settle the doubt above before anything is turned:", "doubt"));
  for (const t of s.turn) card.append(make("p", t, "turn"));
  const list = make("dl");
  const rows = [["off by", s.deviation], ["design", `${s.design}, tolerance ${s.tolerance}`], ["spar line", s.spar], ["photos used", String(s.photos)]];
  for (const [what, value] of rows) if (value) list.append(make("dt", what), make("dd", value));
  card.append(list);
  for (const t of s.gauge) if (!t.includes("DISAGREES")) card.append(make("p", t));  // the others stand above as doubts
  if (!s.gauge.length) card.append(make("p", "no inclinometer reading to compare with"));
  if (s.cause) card.append(make("p", s.cause));
  for (const t of [...s.leave, ...s.advice]) card.append(make("p", t));
  const mine = state.photos.find((p) => p.station === s.name && p.status !== "set aside" && p.status !== "waiting");
  if (mine) {
    card.append(picture(mine), tapButton(mine));
    if (state.display_taught) card.append(button("Read the gauge in this photo", () => {
      el("more").open = true;
      el("gauge").scrollIntoView();
      display(`/api/photos/${mine.id}/display`, { headers: JSON_HEAD, body: "{}" }, s.name);
    }));
    card.append(button(`${s.name} was moved: measure it anew`, () => post("/api/moved", { station: s.name })));
  }
  speak(s);
  return card;
}
function picture(photo) {
  if (!photo.overlay) return make("p", "no annotated picture");
  const link = make("a"), image = make("img");
  image.src = link.href = `/api/photos/${photo.id}/overlay?${photo.version}`;
  image.alt = `The photo of ${photo.station || "no station"} with what was found in it`;
  link.append(image);
  return link;
}
function tapButton(photo) {
  return button("Wrong or missing line? Point at it", () => {
    const role = photo.measured ? "chord" : /string|plumb|level|gravity/.test(photo.chord) ? "plumb" : "chord";
    Tap.open(photo.id, role, (line, a, b) => post(`/api/photos/${photo.id}/hint`, { role: line, a, b }));
  });
}
function photoRow(photo) {
  const row = make("li");
  row.append(make("strong", `${photo.came} ${photo.station || "no station"}: ${photo.status}${photo.helped ? " (helped)" : ""}`));
  if (photo.status === "waiting") return row;
  row.append(make("p", `chord ${photo.chord}; spar ${photo.spar}`));
  for (const t of [photo.why, ...photo.doubts].filter(Boolean)) row.append(make("p", t, "doubt"));
  for (const t of photo.advice) row.append(make("p", t));
  if (photo.size[0]) row.append(tapButton(photo));
  return row;
}

function showGlue() {
  const glue = state && state.glue;
  el("glue").hidden = !glue;
  el("left").hidden = !glue || glue.left_s === null;
  if (!glue) return;
  if (glue.left_s === null) { el("glue").textContent = glue.words; return; }
  const left = glue.left_s - Math.round((Date.now() - fetchedAt) / 1000);
  const clock = left > 0 ? `${Math.floor(left / 60)}:${String(left % 60).padStart(2, "0")} to work. ` : "";
  el("glue").textContent = clock + glue.words;
  el("glue").className = left < 300 ? "bad" : "";
  el("left").value = glue.share;
}
setInterval(showGlue, 1000);

// --- read from across the bench
function toggle(id, on) {
  el(id).setAttribute("aria-pressed", String(on));
  localStorage.setItem(id, on ? "1" : "");
  if (id === "large") document.body.classList.toggle("large", on);
}
for (const id of ["large", "speak"]) {
  toggle(id, Boolean(localStorage.getItem(id)));
  el(id).addEventListener("click", () => toggle(id, el(id).getAttribute("aria-pressed") !== "true"));
}
function speak(s) {
  const text = [`Station ${s.name}, ${s.state}.`, s.chord ? `Chord ${s.chord}.` : "", ...s.turn].join(" ")
    .replaceAll("°", " degrees").replaceAll("±", "plus or minus").replaceAll("\u2212", "minus ");
  if (text === spoken) return;
  spoken = text;
  if (el("speak").getAttribute("aria-pressed") === "true" && "speechSynthesis" in window) {
    speechSynthesis.cancel();
    speechSynthesis.speak(new SpeechSynthesisUtterance(text));
  }
}

el("camera").addEventListener("change", take);
el("pick").addEventListener("change", take);
el("mixed").addEventListener("click", () => post("/api/glue", { now: true }));
el("unmixed").addEventListener("click", () => post("/api/glue", { now: false }));
el("gauge").addEventListener("submit", async (event) => {
  event.preventDefault();
  const text = el("gv").value.trim().replace(",", ".").replace("\u2212", "-");
  if (!/^[+-]?\d+(\.\d+)?$/.test(text)) { say("Write the reading as a number, such as 1.9 or -0.4."); return; }
  if (await post("/api/gauge", { station: el("gs").value, line: el("gl").value, shown_deg: Number(text) })) el("gv").value = "";
});
// a display read from a photo only fills the form: the person compares it with the gauge and presses
async function display(path, options, station) {
  el("gd").textContent = "Reading the display…";
  try {
    const answer = await fetch(path, { method: "POST", ...options });
    if (answer.status === 401) { location.href = "/enter"; return; }
    const told = await answer.json();
    if (!answer.ok) { el("gd").textContent = `Not taken: ${told.error}`; return; }
    if (station) el("gs").value = station;
    el("gv").value = told.text || "";
    if (told.line) el("gl").value = told.line;
    el("gd").textContent = told.text ? `The display seems to show ${told.text}, ${el("gs").value} ${el("gl").value} line. Look at the gauge; note it only if it is right.` : told.why;
  } catch { el("gd").textContent = "The server cannot be reached. Try again, or type the value in."; }
}
el("gp").addEventListener("change", async (event) => {
  const file = event.target.files[0];
  if (file) await display("/api/display", { body: file, headers: { "content-type": "application/octet-stream" } }, null);
  event.target.value = "";
});
el("keep").addEventListener("submit", (event) => { event.preventDefault(); post("/api/keep", { note: el("note").value }); });
watch();
