"use strict";
// The QR code carries the code behind the #, which a browser never sends by itself and no log keeps.
const field = document.getElementById("code");
const said = document.getElementById("said");

async function enter(code) {
  said.textContent = "";
  try {
    const answer = await fetch("/api/enter", {
      method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ code }),
    });
    if (answer.ok) { location.replace("/"); return; }
    said.textContent = (await answer.json()).error;
  } catch { said.textContent = "The server cannot be reached."; }
}

document.getElementById("door").addEventListener("submit", (event) => {
  event.preventDefault();
  enter(field.value);
});
function fromAddress() {
  if (location.hash.length < 2) return;
  field.value = decodeURIComponent(location.hash.slice(1));
  history.replaceState(null, "", "/enter");
  enter(field.value);
}
addEventListener("hashchange", fromAddress);  // the code scanned while this page is open already
fromAddress();
