// The inclinometer's reading: typed in, or confirmed from a photo of its display. Nothing is noted without a press.
import { el, make, button, listen, post, ask } from "./words.js";

const LINES = { chord: "chord line", spar: "spar line" };
let offered = [];  // what the display may show, each with the button that notes it

const words = (text, line) => `${text.replace("-", "\u2212")}° at ${el("gs").value}, ${LINES[line]}`;

// Stations to choose from; what a person chose stays chosen.
export function gaugeStations(names, station) {
  const before = el("gs").value;
  el("gs").replaceChildren(...names.map((n) => new Option(n, n)));
  if (before) el("gs").value = before;
  else if (station) el("gs").value = station;
  gaugeWords();
}
export function gaugeAt(station) {
  if (station && !el("gv").value) el("gs").value = station;
  gaugeWords();
}
function gaugeWords() {
  const line = el("gl").selectedOptions[0];
  el("gauge").querySelector("button[type=submit]").textContent = `Note it for ${el("gs").value}, ${line ? line.textContent : ""}`;
  for (const { node, one } of offered) node.firstChild.textContent = `It shows ${words(one.text, one.line)}`;
}
for (const id of ["gs", "gl"]) el(id).addEventListener("change", gaugeWords);

async function note(id, text, line) {
  const answer = await post("/api/gauge", { id, station: el("gs").value, line, shown_deg: Number(text) });
  if (!answer.ok) return answer;
  const told = `Noted: ${words(text, line)}. It can be taken back below.`;
  show(null, []);
  el("gv").value = "";
  return { ok: true, told };
}
listen(el("gauge"), el("gd"), async (id) => {
  const text = el("gv").value.trim().replace(",", ".").replace("\u2212", "-");
  if (!/^[+-]?\d+(\.\d+)?$/.test(text)) return { ok: false, told: "Write the reading as a number, such as 1.9 or -0.4." };
  return note(id, text, el("gl").value);
});

// The part of the photo that was read, and a button for each number it may show.
function show(crop, likely) {
  el("gc").hidden = !crop;
  if (crop) el("gc").src = crop; else el("gc").removeAttribute("src");
  offered = likely.map((one) => {
    const node = button("", async (id) => {
      const answer = await note(id, one.text, one.line);
      el("gd").textContent = answer.told;  // the button itself is gone
      return answer;
    });
    return { node, one };
  });
  el("go").replaceChildren(...offered.map((o) => o.node));
  gaugeWords();
}

// A display in a photo only offers numbers: the person compares them with the gauge and presses.
async function display(path, options, station) {
  el("more").open = true;
  show(null, []);
  el("gd").textContent = "Reading the display…";
  const { ok, told } = await ask(path, { method: "POST", ...options }, 90000);
  if (!ok) { el("gd").textContent = `Not taken: ${told}`; return { ok, told }; }
  if (station) el("gs").value = station;
  el("gv").value = told.text || "";
  if (told.line) el("gl").value = told.line;
  show(told.crop, told.likely);
  const how = told.likely.length ? "press what the gauge itself shows, or type it in." : "type in what you see.";
  el("gd").textContent = told.text ? `The display seems to show ${told.text}. Look at the gauge: ${how}` : `${told.why[0].toUpperCase()}${told.why.slice(1)}. Look at the gauge: ${how}`;
  el("gd").scrollIntoView({ block: "center" });
  return { ok, told: told.text ? `It seems to show ${told.text}: see below.` : told.why };
}
export const readGauge = (photo) => display(`/api/photos/${photo.id}/display`, { headers: { "content-type": "application/json" }, body: "{}" }, photo.station);
el("gp").addEventListener("change", async (event) => {
  const file = event.target.files[0];
  if (file) await display("/api/display", { body: file, headers: { "content-type": "application/octet-stream" } }, null);
  event.target.value = "";
});
