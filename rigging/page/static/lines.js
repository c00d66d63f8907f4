// Lines by name: below a station's card, or as the card of a place that is no rib.
import { make, SHAPES, NAMES } from "./words.js";
import { fold, photoButtons } from "./station.js";

function one(line) {
  const row = make("li");
  if (line.state) {
    const shape = make("span", SHAPES[line.state], "shape");
    shape.setAttribute("aria-hidden", "true");
    row.append(shape, make("strong", `${line.name}: ${NAMES[line.state]}`));
  } else row.append(make("strong", line.name));
  for (const t of [line.angle, line.off, ...line.said].filter(Boolean)) row.append(make("p", t));
  return row;
}

function list(lines) {
  const whole = make("ul", "", "lines");
  whole.append(...lines.map(one));
  return whole;
}

export function linesFold(lines) {
  if (!lines.length) return [];
  const wrong = lines.some((line) => line.state === "nonconforming");
  return [fold(wrong ? "Lines by name: one is out of tolerance" : "Lines by name", [list(lines)], wrong)];
}

export function placeCard(place, photo, state, gauge) {
  const whole = make("div", "", `card ${place.state.replace(" ", "-")}`);
  whole.append(make("h2", place.name));
  if (place.lines.length) whole.append(list(place.lines));
  else if (!place.dimensions.length) whole.append(make("p", "The job names no line here.", "how"));
  for (const t of place.dimensions) whole.append(make("p", t));
  if (photo) whole.append(...photoButtons(photo, state, gauge).filter((part) => !part.textContent.startsWith("Wrong line")));
  return whole;
}
