// The pin of an address: looked up as soon as the address is typed, moved by mouse, touch and arrow keys.
import { Fault, all, make, one, send } from "../common.ts";
import { spoken } from "../spoken.ts";
import {
  HIGH, WIDE, around, clear, farWords, fitted, gridStep, moved, onMap, pinText, placeAt, readPin, whereWords, type PinMap, type Place,
} from "../pin.ts";

interface Found {
  state: string;
  words: string;
  places: { words: string; lat: number; lon: number }[];
}

const SVG = "http://www.w3.org/2000/svg";

function drawn(name: string, attributes: Record<string, string | number>, text = ""): SVGElement {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, String(value));
  if (text !== "") element.append(text);
  return element;
}

for (const place of all(".place")) begin(place);

function begin(box: HTMLElement): void {
  const form = box.closest("form");
  if (form === null) return;
  const named = (name: string): HTMLInputElement | null => form.querySelector(`input[name="${CSS.escape(name)}"]`);
  const field = named(box.dataset["pin"] ?? "");
  const address = named(box.dataset["address"] ?? "");
  const town = named(box.dataset["town"] ?? "");
  if (field === null || address === null) return;
  let map = JSON.parse(box.dataset["map"] ?? "{}") as PinMap;
  let pin: Place | null = readPin(field.value);
  let asked = 0;
  let typed = `${address.value}\n${town?.value ?? ""}`;
  const svg = one<SVGSVGElement>(".pin-map", box);
  const said = one(".pin-said", box);

  function draw(): void {
    const [step, words] = gridStep(map);
    const k = WIDE / 2 / map.half_km;
    const lines: SVGElement[] = [];
    for (let at = -Math.floor(map.half_km / step) * step; at <= map.half_km; at += step) {
      lines.push(drawn("path", { d: `M${(WIDE / 2 + at * k).toFixed(1)} 0V${HIGH}` }));
      if (Math.abs(at * k) <= HIGH / 2) lines.push(drawn("path", { d: `M0 ${(HIGH / 2 + at * k).toFixed(1)}H${WIDE}` }));
    }
    one(".pin-grid", svg).replaceChildren(...lines);
    const marks: SVGElement[] = [];
    const shown = map.marks.map((mark) => ({ mark, at: onMap(map, mark) })).filter(({ at: [x, y] }) => x >= 0 && x <= WIDE && y >= 0 && y <= HIGH);
    const free = clear(shown.map(({ at }) => at));
    for (const [n, { mark, at: [x, y] }] of shown.entries()) {
      if (mark.kind === "yard") marks.push(drawn("path", { class: "pin-yard", d: `M${x - 7} ${y + 7}v-9l7-7l7 7v9z` }));
      else {
        const circle = drawn("circle", { class: "pin-site", cx: x, cy: y, r: 3.5 });
        circle.append(drawn("title", {}, mark.name));
        marks.push(circle);
      }
      const left = x > WIDE * 0.75;
      if (free[n] === true) marks.push(drawn("text", { x: x + (left ? -10 : 10), y: y + 5, "text-anchor": left ? "end" : "start" }, mark.name));
    }
    one(".pin-marks", svg).replaceChildren(...marks);
    one(".pin-scale", svg).replaceChildren(spoken("Lines {words} apart", { words }));
    stand();
  }

  function stand(): void {
    const here = one<SVGGElement>(".pin-here", svg);
    const [x, y] = pin === null ? [WIDE / 2, HIGH / 2] : onMap(map, pin);
    here.setAttribute("transform", `translate(${x} ${y})`);
    here.classList.toggle("unset", pin === null);
    one(".pin-where", box).replaceChildren(pin === null ? spoken("No pin yet: drag it, or press on the map.") : whereWords(map, pin));
    const far = pin === null ? "" : farWords(map, pin);
    const question = one<HTMLElement>(".pin-far", box);
    question.hidden = far === "";
    one("span", question).replaceChildren(far);
  }

  function put(place: Place, middle: boolean): void {
    pin = place;
    field!.value = pinText(place);
    field!.dispatchEvent(new Event("input", { bubbles: true }));
    if (middle) {
      map = around(map, place, 1);
      draw();
    } else stand();
  }

  function settle(): void {
    if (pin === null) return;
    const [x, y] = onMap(map, pin);
    if (x < WIDE * 0.12 || x > WIDE * 0.88 || y < HIGH * 0.12 || y > HIGH * 0.88) {
      map = around(map, pin, 1);
      draw();
    }
  }

  function zoom(by: number): void {
    map = around(map, pin ?? map, by);
    draw();
  }

  /** Return the point of the drawing under the pointer. */
  function under(event: PointerEvent): Place {
    const frame = svg.getBoundingClientRect();
    return placeAt(map, ((event.clientX - frame.left) / frame.width) * WIDE, ((event.clientY - frame.top) / frame.height) * HIGH);
  }

  let held: number | null = null;
  let pressed: [number, number] | null = null;
  svg.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    pressed = [event.clientX, event.clientY];
    if ((event.target as Element).closest(".pin-here") === null) return;
    held = event.pointerId;
    svg.setPointerCapture(held);
  });
  svg.addEventListener("pointermove", (event) => {
    if (held === event.pointerId) put(under(event), false);
  });
  svg.addEventListener("pointerup", (event) => {
    const still = pressed !== null && Math.hypot(event.clientX - pressed[0], event.clientY - pressed[1]) < 6;
    if (held === null && still) put(under(event), false);
    held = null;
    pressed = null;
    settle();
  });
  svg.addEventListener("pointercancel", () => {
    held = null;
    pressed = null;
  });
  svg.addEventListener("keydown", (event) => {
    if (event.key === "+" || event.key === "=") zoom(0.5);
    else if (event.key === "-") zoom(2);
    else {
      const next = moved(map, pin ?? map, event.key, event.shiftKey);
      if (next === null) return;
      put(next, false);
      settle();
    }
    event.preventDefault();
  });
  for (const [name, by] of [[".pin-in", 0.5], [".pin-out", 2]] as const) {
    const button = one<HTMLButtonElement>(name, box);
    button.hidden = false;
    button.addEventListener("click", () => zoom(by));
  }

  function choose(found: Found): void {
    const choices = one(".pin-choices", box);
    const best = found.places[0];
    if (found.places.length < 2 || best === undefined) {
      choices.replaceChildren();
      return;
    }
    const list = make("fieldset", { class: "pin-choice" }, make("legend", {}, spoken("Where is it?")));
    for (const [n, one] of found.places.entries()) {
      const radio = make("input", { type: "radio", name: "pin-choice", checked: n === 0 });
      radio.addEventListener("change", () => put(one, true));
      list.append(make("label", {}, radio, ` ${one.words}`));
    }
    choices.replaceChildren(list);
  }

  async function find(): Promise<void> {
    const turn = ++asked;
    said.replaceChildren(spoken("Looking it up …"));
    let found: Found;
    try {
      found = await send<Found>("POST", "/places/find", { address: address!.value, town: town?.value ?? "" });
    } catch (fault) {
      if (!(fault instanceof Fault)) throw fault;
      found = { state: "fault", words: fault.message, places: [] };
    }
    if (turn !== asked) return; // a later question is on its way
    const best = found.places[0];
    said.replaceChildren(found.words !== "" ? `▲ ${found.words}` : best === undefined ? "" : spoken("✓ Found: {words}. Look at the pin.", { words: best.words }));
    choose(found);
    if (best !== undefined) {
      map = fitted(map, best);
      put(best, true);
    }
  }

  function ask(): void {
    const now = `${address!.value}\n${town?.value ?? ""}`;
    if (now === typed || address!.value.trim() === "" || (town !== null && town.value.trim() === "")) return;
    typed = now;
    void find();
  }

  address.addEventListener("change", ask);
  town?.addEventListener("change", ask);
  const button = one<HTMLButtonElement>(".pin-find button", box);
  button.hidden = false;
  button.addEventListener("click", () => void find());
  field.addEventListener("change", () => {
    const place = readPin(field.value);
    if (place !== null) put(place, true);
  });
  draw();
}
