// One station: the three things first (angle, verdict, what to do), everything else folded behind them.
import { make, button, post, SHAPES, NAMES } from "./words.js";
import { glueNow } from "./glue.js";
import * as Tap from "./tap.js";
import { featureButtons } from "./dimensions.js";

// The three things in words, as shown, read aloud and in large type.
export function three(s, glue) {
  const angle = s.angle ? `${s.angle.size} ${s.angle.sense}` : "no angle";
  const late = glueNow(glue);
  let todo = s.todo;
  if (todo.kind === "turn" && late && late.over) {
    todo = { kind: "leave", words: late.gelled ? "The glue has gelled: move nothing" : "Working time is over: move nothing", more: s.todo.words };
  }
  return { angle, state: NAMES[s.state], todo };
}

export function spoken(s, glue) {
  const t = three(s, glue), U = s.angle ? `${s.angle.U.replace("±", "plus or minus")}` : "";
  return `Station ${s.name}. ${[t.angle, U].filter(Boolean).join(", ")}. ${t.state}. ${t.todo.words}.`.replaceAll("°", " degrees");
}

function verdict(state) {
  const row = make("p", "", "verdict");
  const shape = make("span", SHAPES[state], "shape");
  shape.setAttribute("aria-hidden", "true");
  row.append(shape, make("strong", NAMES[state]));
  return row;
}

// left : after a turn, what is left to turn and how the wing stands; null otherwise.
export function card(s, glue, left = null) {
  const whole = make("div", "", `card ${s.state.replace(" ", "-")}`), t = three(s, glue);
  const head = make("h2", s.name);
  whole.append(head, verdict(s.state));
  const value = make("p", "", "value");
  if (s.angle) value.append(make("strong", s.angle.size), make("span", s.angle.sense, "sense"), make("span", s.angle.U, "U"));
  else value.append(make("span", "no angle", "sense"));
  const todo = make("div", "", `todo ${t.todo.kind}`);
  todo.append(make("p", t.todo.words, "do"));
  if (t.todo.more) todo.append(make("p", t.todo.more, "how"));
  whole.append(value, todo);
  const late = glueNow(glue);
  if (left) whole.append(make("p", `${late && late.over ? "" : `${left.turn}. `}${left.wing}.`, "left"));
  if (s.state === "nonconforming" && !(late && late.over)) {
    const press = make("div", "", "press"), turned = make("button", `${t.todo.kind === "turn" ? "Turned" : "Mended"}: photograph ${s.name} again`, "main");
    turned.type = "button";
    turned.addEventListener("click", () => document.getElementById("turned").click());
    press.append(turned);
    whole.append(press);
  }
  if (s.angle && s.together.length) {
    const names = s.together.join(" and ");
    const moved = button(`I moved ${names}`, (id) => post("/api/moved", { id, station: s.name }), `Noted: photograph ${names} again.`);
    moved.classList.add("moved");
    whole.append(moved);
  }
  return whole;
}

export function fold(title, parts, open = false) {
  const whole = make("details");
  whole.dataset.title = title;
  whole.open = open;
  whole.append(make("summary", title), ...parts);
  return whole;
}

// What stands behind the three things, in the order in which it could change the decision.
export function behind(s, photo, state, gauge) {
  const parts = [], list = make("dl");
  for (const [what, value] of [["off by", s.deviation], ["design", `${s.design}, tolerance ${s.tolerance}`], ["chord", s.chord], ["spar line", s.spar], ["photos used", String(s.photos)]]) {
    if (value) list.append(make("dt", what), make("dd", value));
  }
  const why = [...s.doubts.map((t) => make("p", t, "doubt")), list];
  for (const t of [s.cause, ...s.leave, ...s.advice]) if (t) why.push(make("p", t));
  parts.push(fold(s.doubts.length ? "Why: a doubt" : "Why", why));
  const told = [...s.explained, ...s.gauge];
  parts.push(fold(s.explained.length ? "Inclinometer: a known fault" : s.gauge.some((t) => t.includes("DISAGREES")) ? "Inclinometer: disagrees" : s.gauge.length ? "Inclinometer: agrees" : "Inclinometer: no reading", told.length ? told.map((t) => make("p", t)) : [make("p", "Type in what it shows, to compare.")]));
  if (photo) parts.push(fold("The photo", [lazy(photo), ...photoButtons(photo, state, gauge)]));
  return parts;
}

// A picture that is fetched when its fold is opened.
function lazy(photo) {
  const place = make("div", "", "picture");
  if (!photo.overlay) { place.append(make("p", "no annotated picture")); return place; }
  const image = make("img");
  image.loading = "lazy";
  image.src = `/api/photos/${photo.id}/overlay?${photo.version}`;
  image.alt = `The photo of ${photo.station || "no station"} with what was found in it`;
  place.append(image);
  return place;
}

export function pointButton(photo, role, words, main) {
  const whole = button(words, async () => {
    const line = await Tap.open(photo.id, role);
    if (!line) return { ok: true, told: "Nothing was changed." };
    return post(`/api/photos/${photo.id}/hint`, line);
  }, "Noted: it is read again.");
  if (main) whole.firstChild.className = "main";
  return whole;
}

export function photoButtons(photo, state, gauge) {
  const parts = [];
  if (photo.hints) parts.push(button("Take back what was pointed at", () => post(`/api/photos/${photo.id}/unhint`, {}), "Taken back: it is read again."));
  if (photo.size && photo.size[0] && (photo.measured || (photo.refused && photo.refused.point))) parts.push(pointButton(photo, photo.refused ? photo.refused.point : "chord", "Wrong line? Point at it"));
  parts.push(...featureButtons(photo));
  if (state.display_taught && photo.measured) parts.push(button("Read the gauge in this photo", () => gauge(photo)));
  return parts;
}

// A photo without a value stands alone: never beside an older value.
export function refusal(photo) {
  const r = photo.refused, whole = make("div", "", "card refused");
  const head = make("h2", `Photo of ${photo.came.slice(0, 5)}${photo.station ? `, ${photo.station}` : ""}`);
  const row = make("p", "", "verdict"), shape = make("span", "⊘", "shape");
  shape.setAttribute("aria-hidden", "true");
  row.append(shape, make("strong", "no value"));
  const todo = make("div", "", "todo photo");
  todo.append(make("p", r.cure, "do"), make("p", r.why, "how"));
  whole.append(head, row, todo);
  if (r.point) whole.append(pointButton(photo, r.point, r.cure, true));
  whole.append(...featureButtons(photo));
  const seen = [...r.seen.map((t) => ["✓", t]), ...r.missing.map((t) => ["✕", t])];
  if (seen.length) {
    const list = make("ul", "", "seen");
    for (const [sign, what] of seen) list.append(make("li", `${sign} ${what}${sign === "✕" ? ": not seen" : ": seen"}`));
    whole.append(list);
  }
  if (photo.hints) whole.append(button("Take back what was pointed at", () => post(`/api/photos/${photo.id}/unhint`, {}), "Taken back: it is read again."));
  if (photo.overlay) whole.append(lazy(photo));
  return whole;
}
