// Two points on a line of the photo, set under a loupe. Points are pixels of the upright photo, the first pixel's
// centre at (0, 0). The whole screen is the photo's; nothing in it moves while a finger is down.
import { el } from "./words.js";
const view = el("view"), loupe = el("loupe"), image = new Image();
const GRAB_PX = 56, SLOW = 0.3, ZOOM = 3;  // on the screen; a finger in a glove is off by a centimetre
let points = [], active = -1, start = null, done = null, back = null, feature = null;
const need = () => (feature ? feature.points : 2);

function draw() {
  const pen = view.getContext("2d"), k = view.width / image.naturalWidth;
  pen.drawImage(image, 0, 0, view.width, view.height);
  pen.lineWidth = Math.max(3, view.width / 300);
  pen.strokeStyle = "#ff2bd6";
  const at = points.map(([x, y]) => [(x + 0.5) * k, (y + 0.5) * k]);
  for (const [x, y] of at) cross(pen, x, y, view.width / 40);
  if (at.length === 2) { pen.beginPath(); pen.moveTo(...at[0]); pen.lineTo(...at[1]); pen.stroke(); }
  loupe.hidden = active < 0;
  if (active >= 0) magnify(points[active]);
  el("use").disabled = points.length !== need();
  const what = feature ? `${feature.feature}: ` : "";
  el("how").textContent = points.length === need() ? `Slide ${need() === 1 ? "" : "near an end "}to move it. Then press Use it.`
    : need() === 1 ? `${what}put a finger near the mark; slide until the cross sits on it; lift.`
    : points.length === 0 ? `${what || "Put a finger near one end of the line"}${what ? "put a finger near its first end" : ""}; slide until the cross sits on it; lift.`
    : "Now the other end in the same way.";
}

function magnify([x, y]) {
  const pen = loupe.getContext("2d"), w = loupe.width / ZOOM, h = loupe.height / ZOOM;
  pen.fillStyle = "#000";
  pen.fillRect(0, 0, loupe.width, loupe.height);
  pen.imageSmoothingEnabled = false;
  pen.drawImage(image, x + 0.5 - w / 2, y + 0.5 - h / 2, w, h, 0, 0, loupe.width, loupe.height);
  pen.lineWidth = 1.5;
  pen.strokeStyle = "#ff2bd6";
  cross(pen, loupe.width / 2, loupe.height / 2, 60);
}

function cross(pen, x, y, r) {
  const gap = r / 5;
  pen.beginPath();
  pen.moveTo(x - r, y); pen.lineTo(x - gap, y); pen.moveTo(x + gap, y); pen.lineTo(x + r, y);
  pen.moveTo(x, y - r); pen.lineTo(x, y - gap); pen.moveTo(x, y + gap); pen.lineTo(x, y + r);
  pen.stroke();
}

const inside = ([x, y]) => [Math.min(Math.max(x, 0), image.naturalWidth - 1), Math.min(Math.max(y, 0), image.naturalHeight - 1)];
function where(event) {
  const box = view.getBoundingClientRect();
  return [(event.clientX - box.left) * image.naturalWidth / box.width - 0.5, (event.clientY - box.top) * image.naturalHeight / box.height - 0.5];
}

view.addEventListener("pointerdown", (event) => {
  if (!image.naturalWidth || start) return;  // a second finger changes nothing
  view.setPointerCapture(event.pointerId);
  const at = where(event), px = image.naturalWidth / view.getBoundingClientRect().width;
  const far = points.map(([x, y]) => Math.hypot(x - at[0], y - at[1]) / px);
  const near = far.indexOf(Math.min(...far));
  if (points.length === need() || far[near] < GRAB_PX) active = near;
  else active = points.push(inside(at)) - 1;
  start = { pointer: event.pointerId, finger: at, point: points[active] };
  // the loupe stands away from the finger, in the other half of the photo's place
  const box = el("sheet").getBoundingClientRect();
  loupe.classList.toggle("low", event.clientY < box.top + box.height / 2);
  draw();
});
view.addEventListener("pointermove", (event) => {
  if (!start || event.pointerId !== start.pointer) return;
  const [x, y] = where(event);
  points[active] = inside([start.point[0] + SLOW * (x - start.finger[0]), start.point[1] + SLOW * (y - start.finger[1])]);
  draw();
});
function lift(event) { if (start && event.pointerId === start.pointer) { start = null; draw(); } }
view.addEventListener("pointerup", lift);
view.addEventListener("pointercancel", lift);
view.addEventListener("keydown", (event) => {
  const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
  if (event.key === "Escape") { close(null); return; }
  if (!step || active < 0) return;
  event.preventDefault();
  points[active] = inside([points[active][0] + step[0], points[active][1] + step[1]]);
  draw();
});
image.addEventListener("load", () => {
  view.width = Math.min(image.naturalWidth, 1600);
  view.height = Math.round(view.width * image.naturalHeight / image.naturalWidth);
  fit();
  view.dataset.ready = "1";
  draw();
});
// As large as its place allows; only when a photo comes or the phone is turned, never under a finger.
function fit() {
  const room = el("sheet").getBoundingClientRect(), ratio = image.naturalWidth / image.naturalHeight;
  if (!ratio || !room.width) return;
  const width = Math.min(room.width, room.height * ratio);
  view.style.width = `${width}px`;
  view.style.height = `${width / ratio}px`;
}
addEventListener("resize", () => { if (!start) fit(); });
image.addEventListener("error", () => { el("how").textContent = "The photo could not be fetched; leave and try again."; });

function close(line) {
  el("tap").hidden = true;
  document.body.classList.remove("pointing");
  if (back) back.focus();
  const told = done;
  done = null;
  if (told) told(line);
}
function clear() { points = []; active = -1; start = null; }
el("again").addEventListener("click", () => { clear(); draw(); });
el("leave").addEventListener("click", () => close(null));
el("use").addEventListener("click", () => close(feature ? { feature: feature.feature, points } : { role: el("role").value, a: points[0], b: points[1] }));

// The line that a person points at in a photo: { role, a, b }, or, where a feature is asked for, { feature, points }; null when left.
export function open(id, role, asked = null) {
  clear();
  back = document.activeElement;
  feature = asked;
  el("role").hidden = !!asked;
  if (!asked) el("role").value = role;
  el("how").textContent = "Fetching the photo…";
  el("tap").hidden = false;
  delete view.dataset.ready;
  document.body.classList.add("pointing");
  image.src = `/api/photos/${id}/picture`;
  el("leave").focus();
  return new Promise((told) => { done = told; });
}
