// The job's dimensions: how each stands, and the marks, lines and edges that a person points at in a photo.
import { make, button, post, SHAPES } from "./words.js";
import * as Tap from "./tap.js";

const words = (state) => (state === "measured" ? "measured, no design" : state);

export function showDimensions(list, place) {
  const rows = list.map((d) => {
    const row = make("div", "", `dimension ${d.state.replace(" ", "-")}`), head = make("p", "", "verdict");
    const shape = make("span", SHAPES[d.state] || "■", "shape");
    shape.setAttribute("aria-hidden", "true");
    head.append(shape, make("strong", `${d.name}: ${words(d.state)}`));
    row.append(head, make("p", d.words), make("p", d.what, "how"));
    for (const t of d.doubts) row.append(make("p", t, "how"));
    return row;
  });
  place.replaceChildren(...rows);
}

// In how many words the list is told while it is folded.
export function told(list) {
  const bad = list.filter((d) => d.state === "nonconforming").length, open = list.filter((d) => ["undecided", "not measured"].includes(d.state)).length;
  return `Dimensions: ${bad ? `${bad} out of tolerance` : "none out of tolerance"}${open ? `, ${open} open` : ""}`;
}

export function featureButtons(photo) {
  return (photo.features || []).map((f) => button(`${f.done ? "Point again at" : "Point at"} ${f.feature}`, async () => {
    const line = await Tap.open(photo.id, null, f);
    if (!line) return { ok: true, told: "Nothing was changed." };
    return post(`/api/photos/${photo.id}/feature`, line);
  }, "Noted: it is read again."));
}
