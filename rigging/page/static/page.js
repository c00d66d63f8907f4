// The page at the bench: what this phone looks at, and what it shows of how things stand.
import { el, make, listen, post, ago, SHAPES, NAMES } from "./words.js";
import { hear, age, old, serverNow } from "./hear.js";
import * as queue from "./queue.js";
import { showBar, glueNow } from "./glue.js";
import { showLive } from "./live.js";
import { gaugeStations, gaugeAt, readGauge } from "./gauge.js";
import { featureButtons, showDimensions, told as dimensionsTold } from "./dimensions.js";
import { showOrder } from "./order.js";
import { card, behind, refusal, spoken, photoButtons } from "./station.js";
import { linesFold, placeCard } from "./lines.js";

// What this phone looks at: a station, or a photo of its own on its way. Nobody else's doing changes it.
// turned : the station that its last photo was said to show after a turn.
const view = { station: sessionStorage.getItem("station"), photo: null, turned: null };
const SENDING = "sending", SIDES = ["left", "centre", "right"];
let state = null, looked = null, said = "";
const drawn = {};

function look(station, photo = null) {
  view.station = station; view.photo = photo; view.turned = null;
  if (station) sessionStorage.setItem("station", station);
  gaugeAt(station);
  show();
  scrollTo(0, 0);
}
const only = (key, parts, draw) => {  // drawn anew only when what is shown has changed: a finger may be on it
  const text = JSON.stringify(parts);
  if (drawn[key] === text) return;
  drawn[key] = text;
  draw();
};
const essence = (s) => JSON.stringify([s.state, s.angle, s.todo, s.lines]);
const faces = () => [...state.stations, ...state.places];

function show() {
  if (!state) return;
  if (!state.stations) { el("old").textContent = state.problem; el("old").hidden = false; return; }
  follow();
  el("title").textContent = state.wing;
  showBar(state);
  const s = state.stations.find((x) => x.name === view.station) || null;
  const place = state.places.find((x) => x.name === view.station) || null;
  const photo = view.photo && view.photo !== SENDING ? state.photos.find((p) => p.id === view.photo) : null;
  if (!looked) looked = Object.fromEntries(faces().map((x) => [x.name, essence(x)]));
  if (place && !view.photo) looked[place.name] = essence(place);
  if (s && !view.photo) looked[s.name] = essence(s);
  only("wing", [faces().map((x) => [x.name, x.side, x.state]), view.station, looked, state.next], wing);
  only("choices", state.stations.map((x) => x.name), () => gaugeStations(state.stations.map((x) => x.name), view.station));
  showLive(state.live, view.station);
  only("now", [view, s, place, photo, glueStage(), state.next, view.turned && state.left], () => now(s, photo, place));
  only("behind", [view, s, s && state.photos.find((p) => p.id === s.photo), state.problem, refusedOf(s)], () => below(s));
  only("dims", state.dimensions, dimensions);
  only("order", state.setup, order);
  only("notes", state.notes, notes);
  only("whole", [state.verdict, state.findings, state.gauge_unused, state.caution], whole);
  only("photos", state.photos, () => el("photos").replaceChildren(...state.photos.map(photoRow)));
  if (s && !view.photo) speak(spoken(s, state.glue));
}

// An own photo that was read: its station is shown, or, where it has no value, the photo alone.
function follow() {
  const photo = state.photos.find((p) => p.id === view.photo);
  if (!photo || !photo.measured) return;
  view.station = photo.station;
  view.photo = null;
  sessionStorage.setItem("station", photo.station);
}
const glueStage = () => { const g = glueNow(state.glue); return g && [g.over, g.gelled]; };

function wing() {
  el("wing").replaceChildren(...SIDES.filter((side) => faces().some((s) => s.side === side)).map((side) => {
    const row = make("div", "", "row"), mine = faces().filter((s) => s.side === side);
    row.append(make("span", side === "centre" ? "C" : side[0].toUpperCase(), "side"), ...mine.map((s) => {
      const news = looked[s.name] !== essence(s), node = make("button", "", s.state.replace(" ", "-"));
      node.type = "button";
      const shape = make("span", SHAPES[s.state], "shape");
      shape.setAttribute("aria-hidden", "true");
      node.append(shape, make("span", s.name, "name"));
      if (news) node.append(make("span", "new", "news"));
      node.setAttribute("aria-label", `${s.name}: ${NAMES[s.state]}${news ? ", news" : ""}${s.name === state.next ? ", next" : ""}`);
      if (s.name === view.station) node.setAttribute("aria-current", "true");
      node.addEventListener("click", () => look(s.name));
      return node;
    }));
    return row;
  }));
}

function now(s, photo, face) {
  const place = el("now");
  if (view.photo && (!photo || photo.status === "waiting")) {
    place.replaceChildren(plain(photo ? "Reading your photo…" : "Sending your photo…", "Nothing is judged before it is read."));
  } else if (photo && photo.refused) {
    place.replaceChildren(refusal(photo));
  } else if (photo && !photo.station && photo.dimensions.length) {
    place.replaceChildren(plain("Read", photo.dimensions.join("; ")), ...featureButtons(photo));
  } else if (s) {
    place.replaceChildren(card(s, state.glue, view.turned ? state.left : null));
  } else if (face) {
    place.replaceChildren(placeCard(face, state.photos.find((p) => p.id === face.photo), state, readGauge));
  } else {
    place.replaceChildren(plain(state.next ? `Photograph ${state.next}` : "Photograph a station", "Card, drawn line and string or level in one picture. Or tap a station above."));
  }
}
function plain(words, more) {
  const box = make("div", "", "card plain");
  box.append(make("p", words, "do"), make("p", more, "how"));
  return box;
}
const refusedOf = (s) => s && state.photos.find((p) => p.station === s.name && p.refused && p.status !== "set aside" && s.photo && p.came > state.photos.find((q) => q.id === s.photo).came);

function below(s) {
  const place = el("behind"), open = new Set([...place.querySelectorAll("details[open]")].map((d) => d.dataset.title));
  const parts = [];
  if (state.problem) parts.push(make("p", state.problem, "bad"));
  if (s && !view.photo) {
    const newer = refusedOf(s);
    if (newer) {
      const see = make("button", `A newer photo (${newer.came.slice(0, 5)}) has no value: see why`);
      see.addEventListener("click", () => look(s.name, newer.id));
      parts.push(see);
    }
    parts.push(...linesFold(s.lines), ...behind(s, state.photos.find((p) => p.id === s.photo), state, readGauge));
  }
  for (const part of parts) if (part.dataset.title && open.has(part.dataset.title)) part.open = true;
  place.replaceChildren(...parts);
}

function dimensions() {
  el("dimensions").hidden = !state.dimensions.length;
  el("dimensionsaid").textContent = dimensionsTold(state.dimensions);
  showDimensions(state.dimensions, el("dims"));
}
function order() {
  const { steps, next } = state.setup, right = steps.filter((s) => s.state === "right").length;
  el("ordersaid").textContent = `The set-up: ${right} of ${steps.length} steps right${next ? `, next: ${next}` : ""}`;
  showOrder(state.setup, el("steps"), look);
}
function whole() {
  el("verdict").textContent = state.verdict;
  el("findings").replaceChildren(...[...state.findings, ...state.gauge_unused].map((t) => make("li", t)));
  el("caution").textContent = state.caution;
}
function notes() {
  el("notes").replaceChildren(...state.notes.map((n) => {
    const row = make("li", n.words), undo = make("button", "Take back"), answer = make("span", "", "answer");
    answer.setAttribute("role", "status");
    undo.setAttribute("aria-label", `Take back: ${n.words}`);
    listen(undo, answer, () => post("/api/undo", { id: n.id }), "Taken back.");
    row.append(undo, answer);
    return row;
  }));
  if (!state.notes.length) el("notes").replaceChildren(make("li", "Nothing was noted yet."));
}
function photoRow(photo) {
  const row = make("li");
  row.append(make("strong", `${photo.came} ${photo.station || "no station"}: ${photo.status}${photo.helped ? " (helped)" : ""}`));
  if (photo.status === "waiting") return row;
  row.append(make("p", photo.lines.length && !photo.chord.includes("°") ? photo.lines.join("; ") : [`chord ${photo.chord}; spar ${photo.spar}`, ...photo.lines].join("; ")));
  for (const t of photo.dimensions) row.append(make("p", t));
  for (const t of [photo.why, ...photo.doubts, ...photo.advice].filter(Boolean)) row.append(make("p", t));
  row.append(...photoButtons(photo, state, readGauge));
  return row;
}

listen(el("keep"), el("kept"), async () => {
  const answer = await post("/api/keep", { note: el("note").value }, 60000);
  if (!answer.ok) return answer;
  const { kept: number, new: fresh, waiting } = answer.told;
  return { ok: true, told: `${fresh ? "Kept as" : "Nothing has changed since"} survey ${number}.${waiting ? ` ${waiting} photos are not in it: they are still being read.` : ""}` };
});

// --- read from across the bench
function toggle(id, on) {
  el(id).setAttribute("aria-pressed", String(on));
  localStorage.setItem(id, on ? "1" : "");
  if (id === "large") document.body.classList.toggle("large", on);
}
for (const id of ["large", "speak"]) {
  toggle(id, Boolean(localStorage.getItem(id)));
  el(id).addEventListener("click", () => { toggle(id, el(id).getAttribute("aria-pressed") !== "true"); if (id === "large") scrollTo(0, 0); });
}
function speak(text) {
  if (text === said) return;
  said = text;
  el("spoken").textContent = text;
  if (el("speak").getAttribute("aria-pressed") === "true" && "speechSynthesis" in window) {
    speechSynthesis.cancel();
    speechSynthesis.speak(new SpeechSynthesisUtterance(text.replaceAll("\u2212", "minus ")));
  }
}

// --- how old all this is, always
function tick() {
  if (state) showBar(state);
  const s = age();
  el("age").textContent = s === null ? "" : `As of ${new Date((serverNow() - s) * 1000).toLocaleTimeString()}, ${ago(s)} ago`;
  if (state && !state.stations) return;
  el("old").hidden = !old();
  el("old").textContent = s === null ? "The computer has not answered yet." : `No word from the computer for ${ago(s)}. What is shown may be old.`;
  document.body.classList.toggle("stale", old());
}
setInterval(tick, 1000);
setInterval(show, 5000);  // working time may have ended

for (const id of ["camera", "pick", "turned"]) {
  el(id).addEventListener("change", (event) => {
    view.turned = id === "turned" ? view.station : null;
    view.photo = SENDING;
    show();
    scrollTo(0, 0);
    queue.take(event, view.turned);
  });
}
queue.start((ident) => { if (view.photo) view.photo = ident; show(); }, () => { if (view.photo === SENDING) view.photo = null; show(); });
hear((told) => { state = told; show(); tick(); });
