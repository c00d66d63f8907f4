// Small helpers: elements, buttons that answer where they are pressed, requests that end in time.
export const el = (id) => document.getElementById(id);
export const SHAPES = { conforming: "●", nonconforming: "✕", undecided: "◆", "not measured": "○", open: "◌" };
export const NAMES = { conforming: "conforming", nonconforming: "nonconforming", undecided: "undecided", "not measured": "not measured", open: "photograph again" };
const ANSWER_MS = 12000;

export function make(tag, text, cls) {
  const node = document.createElement(tag);
  if (text) node.textContent = text;
  if (cls) node.className = cls;
  return node;
}

export function ident() {
  const bytes = crypto.getRandomValues(new Uint8Array(10));
  return [...bytes].map((b) => b.toString(16).padStart(2, "0")).join("");
}

// A request's answer: { ok, told }. Never throws; a server that says nothing is given up in time.
export async function ask(path, options = {}, within = ANSWER_MS) {
  try {
    const answer = await fetch(path, { ...options, signal: AbortSignal.timeout(within) });
    if (answer.status === 401) { location.href = "/enter"; return { ok: false, told: "The code is asked for again." }; }
    const told = await answer.json();
    return { ok: answer.ok, told: answer.ok ? told : told.error };
  } catch {
    return { ok: false, told: "The computer does not answer: this was NOT noted. Press again." };
  }
}

export function post(path, body, within) {
  return ask(path, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) }, within);
}

// A button that does one thing at a time and answers below itself. act() gives { ok, told }; told is said, or `done`.
// The ident of what is noted stays until the server has it: pressed again after a broken answer, it counts once.
export function button(text, act, done = "Noted.") {
  const whole = make("div", "", "press"), node = make("button", text), said = make("p", "", "answer");
  node.type = "button";
  said.setAttribute("role", "status");
  whole.append(node, said);
  listen(node, said, act, done);
  return whole;
}

export function listen(node, said, act, done = "Noted.") {
  let once = ident();
  const press = async () => {
    if (node.getAttribute("aria-busy") === "true") return;
    node.setAttribute("aria-busy", "true");
    said.textContent = "…";
    const answer = await act(once);
    node.removeAttribute("aria-busy");
    if (answer.ok) once = ident();
    said.className = answer.ok ? "answer" : "answer bad";
    said.textContent = answer.ok ? (typeof answer.told === "string" ? answer.told : done) : answer.told;
  };
  if (node.tagName === "FORM") node.addEventListener("submit", (event) => { event.preventDefault(); press(); });
  else node.addEventListener("click", press);
}

export const clock = (seconds) => `${Math.floor(seconds / 60)}:${String(Math.floor(seconds % 60)).padStart(2, "0")}`;
export function ago(seconds) {
  const s = Math.max(0, Math.floor(seconds));
  return s < 120 ? `${s} s` : s < 7200 ? `${Math.floor(s / 60)} min` : `${Math.floor(s / 3600)} h`;
}
