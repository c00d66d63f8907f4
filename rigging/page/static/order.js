// The order of the set-up: every step with its state; what a person says of it is said here.
import { make, button, post } from "./words.js";
import { fold } from "./station.js";

const STEPS = { right: "●", wrong: "✕", "open again": "◌", "to do": "○" };
const CLASSES = { right: "conforming", wrong: "nonconforming", "open again": "undecided", "to do": "not-measured" };

export function showOrder(setup, place, look) {
  const open = new Set([...place.querySelectorAll("details[open]")].map((d) => d.dataset.title));
  const typed = Object.fromEntries([...place.querySelectorAll("input")].map((i) => [i.id, i.value]));  // what is being typed stays
  const list = make("ol", "", "steps");
  for (const step of setup.steps) list.append(row(step, step.name === setup.next, look, open));
  const words = make("p", setup.words, "next");
  place.replaceChildren(words, ...(setup.stated ? [] : [make("p", "The job states no steps: a usual order.")]), list);
  for (const input of place.querySelectorAll("input")) if (typed[input.id]) input.value = typed[input.id];
}

function row(step, next, look, open) {
  const node = make("li", "", CLASSES[step.state]);
  if (next) node.setAttribute("aria-current", "step");
  node.append(head(step.state, `${step.name}: ${step.state}`), make("p", step.why, "how"));
  if (step.say) node.append(button(`${step.name}: done`, (id) => post("/api/step", { id, name: step.name }), "Noted: it can be taken back below."));
  for (const check of step.checks.filter((c) => c.unit)) node.append(entry(check));
  if (step.checks.length) {
    const checks = fold(`${step.checks.length} check${step.checks.length > 1 ? "s" : ""} of ${step.name}`, step.checks.map((c) => checkRow(c, look)), false);
    checks.open = open.has(checks.dataset.title);
    node.append(checks);
  }
  return node;
}

function head(state, words) {
  const line = make("p", "", "step"), shape = make("span", STEPS[state], "shape");
  shape.setAttribute("aria-hidden", "true");
  line.append(shape, make("strong", words));
  return line;
}

function checkRow(check, look) {
  const line = make("div", "", `check ${CLASSES[check.state]}`);
  line.append(head(check.state, `${check.name}: ${check.state}`), make("p", check.why, "how"));
  if (check.station && check.state !== "right") {
    const go = make("button", `Go to ${check.station}`);
    go.type = "button";
    go.addEventListener("click", () => look(check.station));
    line.append(go);
  }
  return line;
}

// A check that a person reads off and types.
function entry(check) {
  const whole = make("div", "", "typed"), label = make("label", `${check.name} reads, ${check.unit === "°" ? "degrees" : check.unit}`), input = make("input");
  input.id = `typed ${check.name}`;
  input.setAttribute("inputmode", "text");
  input.autocomplete = "off";
  label.htmlFor = input.id;
  whole.append(label, input, button(`Note ${check.name}`, async (id) => {
    const text = input.value.trim().replace(",", ".").replace("\u2212", "-");
    if (!/^[+-]?\d+(\.\d+)?$/.test(text)) return { ok: false, told: "Write it as a number, such as 0.1 or -0.4." };
    const answer = await post("/api/step", { id, name: check.name, value: Number(text) });
    if (answer.ok) input.value = "";
    return answer.ok ? { ok: true, told: `Noted: ${check.name} reads ${text} ${check.unit}.` } : answer;
  }));
  return whole;
}
