"use strict";
// Two points on a line of the photo, set under a loupe. Points are pixels of the upright photo, the first
// pixel's centre at (0, 0). `Tap.open(photo, done)` calls done(role, a, b).
const Tap = (() => {
  const el = (id) => document.getElementById(id);
  const view = el("view"), loupe = el("loupe"), image = new Image();
  let points = [], moving = null, done = null;

  const scale = () => view.width / image.naturalWidth;

  function draw() {
    const pen = view.getContext("2d"), k = scale();
    pen.drawImage(image, 0, 0, view.width, view.height);
    pen.lineWidth = 3;
    const all = moving ? [...points, moving] : points;
    for (const [x, y] of all) cross(pen, (x + 0.5) * k, (y + 0.5) * k, 14);
    if (all.length === 2) {
      pen.strokeStyle = "#ff2bd6";
      pen.beginPath();
      pen.moveTo((all[0][0] + 0.5) * k, (all[0][1] + 0.5) * k);
      pen.lineTo((all[1][0] + 0.5) * k, (all[1][1] + 0.5) * k);
      pen.stroke();
    }
    const at = moving || points[points.length - 1];
    loupe.hidden = !at;
    if (at) magnify(at);
    el("use").disabled = points.length !== 2;
  }

  function magnify([x, y]) {
    const pen = loupe.getContext("2d"), zoom = 3, w = loupe.width / zoom, h = loupe.height / zoom;
    pen.fillStyle = "#000";
    pen.fillRect(0, 0, loupe.width, loupe.height);
    pen.imageSmoothingEnabled = false;
    pen.drawImage(image, x + 0.5 - w / 2, y + 0.5 - h / 2, w, h, 0, 0, loupe.width, loupe.height);
    pen.lineWidth = 1.5;
    cross(pen, loupe.width / 2, loupe.height / 2, 60);
  }

  function cross(pen, x, y, r) {
    pen.strokeStyle = "#ff2bd6";
    pen.beginPath();
    pen.moveTo(x - r, y); pen.lineTo(x - 4, y); pen.moveTo(x + 4, y); pen.lineTo(x + r, y);
    pen.moveTo(x, y - r); pen.lineTo(x, y - 4); pen.moveTo(x, y + 4); pen.lineTo(x, y + r);
    pen.stroke();
  }

  function where(event) {
    const box = view.getBoundingClientRect();
    const x = (event.clientX - box.left) * image.naturalWidth / box.width - 0.5;
    const y = (event.clientY - box.top) * image.naturalHeight / box.height - 0.5;
    return [Math.min(Math.max(x, 0), image.naturalWidth - 1), Math.min(Math.max(y, 0), image.naturalHeight - 1)];
  }

  // A finger hides what it points at and is coarse: the first touch sets the point, sliding moves it slowly.
  let start = null;
  view.addEventListener("pointerdown", (event) => {
    if (points.length === 2) return;
    view.setPointerCapture(event.pointerId);
    moving = where(event);
    start = { finger: moving, point: moving };
    draw();
  });
  view.addEventListener("pointermove", (event) => {
    if (!moving) return;
    const [x, y] = where(event), slow = 0.35;
    moving = [start.point[0] + slow * (x - start.finger[0]), start.point[1] + slow * (y - start.finger[1])];
    draw();
  });
  view.addEventListener("pointerup", () => {
    if (!moving) return;
    points.push(moving);
    moving = null;
    draw();
  });
  view.addEventListener("pointercancel", () => { moving = null; draw(); });
  view.addEventListener("keydown", (event) => {
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (!step || !points.length) return;
    event.preventDefault();
    const last = points[points.length - 1];
    points[points.length - 1] = [last[0] + step[0], last[1] + step[1]];
    draw();
  });
  image.addEventListener("load", () => {
    view.width = Math.min(image.naturalWidth, 1600);
    view.height = Math.round(view.width * image.naturalHeight / image.naturalWidth);
    draw();
  });
  image.addEventListener("error", () => { el("how").textContent = "The photo could not be fetched; leave and try again."; });

  function close() { el("tap").hidden = true; document.body.classList.remove("pointing"); points = []; moving = null; }
  el("again").addEventListener("click", () => { points = []; draw(); });
  el("leave").addEventListener("click", close);
  el("use").addEventListener("click", () => { const [a, b] = points; done(el("role").value, a, b); close(); });

  return {
    open(id, role, whenDone) {
      done = whenDone;
      points = [];
      el("role").value = role;
      el("tap").hidden = false;
      document.body.classList.add("pointing");  // the phone's whole height for loupe and photo
      image.src = `/api/photos/${id}/picture`;
      el("tap").scrollIntoView();
    },
  };
})();
