// Photos on their way: kept on the phone until the server has them, sent one after the other, each refusal shown.
// They outlive a page that is closed or thrown out of memory (IndexedDB); where the browser keeps nothing, memory.
import { el, make, ident, ago } from "./words.js";
const FINAL = new Set([413, 415, 422]);  // the photo itself is not taken: sending it again would not help
const STALL_MS = 25000, WAITS_MS = [1500, 3000, 6000, 12000, 24000];
let store = null, photos = [], sending = false, mine = null, none = null;

const request = (r) => new Promise((done, fail) => { r.onsuccess = () => done(r.result); r.onerror = () => fail(r.error); });
async function opened() {
  try {
    const r = indexedDB.open("ribangle", 1);
    r.onupgradeneeded = () => r.result.createObjectStore("photos", { keyPath: "key" });
    store = await request(r);
    photos = await request(store.transaction("photos").objectStore("photos").getAll());
    photos.sort((a, b) => a.at - b.at);
  } catch { store = null; }
}
async function keep(photo) {
  try { if (store) await request(store.transaction("photos", "readwrite").objectStore("photos").put(photo)); } catch { /* memory */ }
}
async function drop(photo) {
  photos = photos.filter((p) => p !== photo);
  try { if (store) await request(store.transaction("photos", "readwrite").objectStore("photos").delete(photo.key)); } catch { /* memory */ }
}

// The upload itself, given up when nothing moves for STALL_MS. Gives { status, told }; status 0 for no connection.
function upload(photo) {
  return new Promise((done) => {
    const r = new XMLHttpRequest();
    let timer = 0;
    const moved = () => { clearTimeout(timer); timer = setTimeout(() => r.abort(), STALL_MS); };
    const end = (status, told) => { clearTimeout(timer); done({ status, told }); };
    r.open("POST", "/api/photos");
    r.setRequestHeader("content-type", "application/octet-stream");
    r.setRequestHeader("x-waited-s", String(Math.round((Date.now() - photo.at) / 1000)));
    if (photo.turned) r.setRequestHeader("x-turned", encodeURIComponent(photo.turned));
    r.upload.onprogress = moved;
    r.onload = () => { let told = {}; try { told = JSON.parse(r.responseText); } catch { /* no words */ } end(r.status, told); };
    r.onerror = () => end(0, { error: "no connection" });
    r.onabort = () => end(0, { error: "the computer does not answer" });
    moved();
    r.send(photo.data);
  });
}

async function send() {
  if (sending) return;
  sending = true;
  let tries = 0;
  for (;;) {
    const photo = photos.find((p) => !p.refused);
    if (!photo) break;
    photo.now = "sending";
    show();
    const { status, told } = await upload(photo);
    if (status === 401) { location.href = "/enter"; return; }
    if (status === 200 || status === 201) {
      tries = 0;
      await drop(photo);
      mine(told.id);
    } else if (FINAL.has(status)) {
      photo.refused = told.error || `refused (${status})`;
      await keep(photo);
      if (!pending()) none();
    } else {
      photo.now = `${told.error || `the computer answers ${status}`}: kept here, sent again`;
      photos = [...photos.filter((p) => p !== photo), photo];  // one that cannot go holds up no other
      show();
      await new Promise((go) => setTimeout(go, WAITS_MS[Math.min(tries++, WAITS_MS.length - 1)]));
    }
    show();
  }
  sending = false;
}

function show() {
  el("queue").replaceChildren(...photos.map((photo) => {
    const row = make("li"), since = ago((Date.now() - photo.at) / 1000);
    if (!photo.refused) { row.append(make("span", `Photo, ${since} old: ${photo.now || "waits"}`)); return row; }
    row.append(make("strong", `NOT taken: ${photo.refused}`));
    const again = make("button", "Send again"), away = make("button", "Throw away");
    again.addEventListener("click", async () => { photo.refused = ""; await keep(photo); show(); send(); });
    away.addEventListener("click", async () => { await drop(photo); show(); });
    row.append(again, away);
    return row;
  }));
}

export const pending = () => photos.filter((p) => !p.refused).length;

// turned : the station whose rib was turned before these photos, null where nothing was said of it.
export async function take(event, turned = null) {
  const files = [...event.target.files];
  event.target.value = "";
  for (const file of files) {
    const photo = { key: ident(), at: Date.now(), data: file, refused: "", turned };
    photos.push(photo);
    await keep(photo);
  }
  show();
  send();
}

// arrived(ident) is told of each photo that the server has; refused() when none is on its way any more after a refusal.
export async function start(arrived, refused) {
  mine = arrived;
  none = refused;
  await opened();
  show();
  send();
  addEventListener("online", send);
  addEventListener("beforeunload", (event) => { if (pending() && !store) event.preventDefault(); });
}
