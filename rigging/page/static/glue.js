// The bar: time left to move and clamp, and what comes next, in one line.
import { el, clock, listen, post } from "./words.js";
import { serverNow } from "./hear.js";

// What the glue allows now: { left } seconds to work; over, gelled; null where no glue is in the job or none is mixed.
export function glueNow(glue) {
  if (!glue || glue.mixed === null) return null;
  const since = serverNow() - glue.mixed;
  return { left: glue.working_s - since, gel: glue.gel_s - since, over: since >= glue.working_s, gelled: since >= glue.gel_s };
}

export function showBar(state) {
  const glue = state && state.glue, now = glueNow(glue);
  const time = !now ? "" : !now.over ? `${clock(now.left)} left` : now.gelled ? "Glue has gelled" : `Time is over, gels in ${clock(now.gel)}`;
  const next = state && state.stations ? (state.next || state.setup.next ? `next: ${state.next || state.setup.next}` : "all conform") : "";
  const words = [time, next].filter(Boolean).join(", ");
  if (el("left").textContent !== words) el("left").textContent = words;
  el("left").className = now && now.left < 300 ? "bad" : "";
  el("mixed").hidden = !glue || (now !== null && !now.gelled);
  el("glue").hidden = !glue;
}

listen(el("mixed"), el("gluesaid"), (id) => post("/api/glue", { id, now: true }), "Mixed: the time runs.");
listen(el("unmixed"), el("gluesaid"), (id) => post("/api/glue", { id, now: false }), "Noted: none is mixed.");
