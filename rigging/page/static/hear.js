// How things stand, pushed by the server, and how old that is. A server that says nothing is old after SILENT_MS.
import { ask } from "./words.js";
const SILENT_MS = 12000;
let heard = 0, offset = 0, source = null, listener = null, opened = 0;

export const serverNow = () => Date.now() / 1000 + offset;
export const age = () => (heard ? (Date.now() - heard) / 1000 : null);
export const old = () => !heard || Date.now() - heard > SILENT_MS;

function open() {
  if (source) source.close();
  opened = Date.now();
  source = new EventSource("/api/events");
  source.addEventListener("state", (event) => { heard = Date.now(); listener(JSON.parse(event.data)); });
  source.addEventListener("beat", (event) => { heard = Date.now(); offset = JSON.parse(event.data).now - Date.now() / 1000; });
  source.addEventListener("error", () => { if (source.readyState === EventSource.CLOSED) ask("/api/state").then(() => setTimeout(open, 1500)); });
}

export function hear(told) {
  listener = told;
  open();
  // a connection that a phone's sleep or a silent network has killed is not always noticed: opened anew
  setInterval(() => { if (old() && Date.now() - opened > SILENT_MS) open(); }, 1000);
  document.addEventListener("visibilitychange", () => { if (!document.hidden && old()) open(); });
}
