// What a live run (`ribangle live`) sees now: whole on the phone that looks at its station, one line elsewhere; its
// alarms, and its silence, everywhere.
import { el, make, ago } from "./words.js";
let drawn = "";

export function showLive(live, station) {
  const box = el("live");
  box.hidden = !live;
  const text = JSON.stringify([live, station]);
  if (text === drawn) return;
  drawn = text;
  if (!live) { box.replaceChildren(); return; }
  const seen = live.angle !== null, title = `${live.watching ? "Watching the cure" : "Live"}: ${live.station}`;
  const loud = [...live.alarms];
  if (live.silent_s !== null) loud.unshift(`No word from the ${live.watching ? "watch" : "live run"} for ${ago(live.silent_s)}: nothing is watched. Look at its computer.`);
  if (live.fault) loud.push(live.fault);
  const card = make("div", "", `card ${(seen ? live.standing : "not measured").replace(" ", "-")}`);
  card.append(make("h2", title));
  for (const words of loud) card.append(make("p", words, "alarm"));
  if (live.station !== station) {
    card.className = loud.length ? "card not-measured" : "line";
    card.append(make("p", seen ? `${live.angle}, ${live.standing}` : live.reason));
    box.replaceChildren(card);
    return;
  }
  if (live.state === "camera moved") card.append(make("p", `The camera was moved: ${live.reason}. Counting begins anew.`, "bad"));
  else if (!seen) card.append(make("p", live.reason, "bad"));
  if (seen) {
    card.append(make("p", live.angle.replace("± ", "±\u00a0"), "value"));
    card.append(make("p", live.change === null ? "the first photo: changes are counted from it" : `${live.change} since ${live.since}`, "change"));
    card.append(make("p", `${live.standing}; off by ${live.off === null ? "?" : live.off} from ${live.design}`, "do"));
    card.append(make("p", live.turn, "how"));
    for (const words of live.doubts) card.append(make("p", words, "doubt"));
  }
  if (live.curve.length > 1) card.append(curve(live.curve));
  card.append(make("p", `photo ${live.photo}, ${live.at.slice(11)}`));
  box.replaceChildren(card);
}

// The change over time with its band of U. points : [seconds, degrees, U].
function curve(points) {
  const canvas = document.createElement("canvas"), pen = canvas.getContext("2d");
  canvas.width = 800; canvas.height = 240; canvas.className = "curve";
  const last = points[points.length - 1];
  canvas.setAttribute("role", "img");
  canvas.setAttribute("aria-label", `Curve of ${points.length} changes, the last ${last[1].toFixed(3)} degrees`);
  const low = Math.min(0, ...points.map((p) => p[1] - p[2])), high = Math.max(0, ...points.map((p) => p[1] + p[2]));
  const t0 = points[0][0], span = Math.max(last[0] - t0, 1), room = Math.max(high - low, 1e-4);
  const x = (t) => 10 + 700 * (t - t0) / span, y = (v) => 225 - 205 * (v - low) / room;
  pen.fillStyle = "#fff"; pen.fillRect(0, 0, 800, 240);
  pen.fillStyle = "#d9e4ec";
  pen.beginPath();
  for (const [t, v, u] of points) pen.lineTo(x(t), y(v + u));
  for (const [t, v, u] of [...points].reverse()) pen.lineTo(x(t), y(v - u));
  pen.fill();
  pen.strokeStyle = "#555"; pen.lineWidth = 2;
  pen.beginPath(); pen.moveTo(10, y(0)); pen.lineTo(710, y(0)); pen.stroke();
  pen.strokeStyle = "#0b3d78"; pen.lineWidth = 5;
  pen.beginPath();
  for (const [t, v] of points) pen.lineTo(x(t), y(v));
  pen.stroke();
  pen.fillStyle = "#111"; pen.font = "28px sans-serif";
  pen.fillText("0", 722, y(0) + 10);
  if (Math.abs(y(last[1]) - y(0)) > 30) pen.fillText(`${last[1].toFixed(2)}\u00b0`.replace("-", "\u2212"), 716, y(last[1]) + 10);
  return canvas;
}
