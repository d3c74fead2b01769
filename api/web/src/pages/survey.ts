// Entering a survey: the wall is drawn while it is typed, and what is typed stays on this device until it is kept.
import { all, Fault, make, newKey, one, say, send, type FieldFault } from "../common.ts";
import { Latest } from "../latest.ts";
import { fieldsOf, recall, remember, rowNumbers, same, type Typed } from "../typed.ts";
import { zoomable } from "../zoom.ts";
import { spoken, spokenFor } from "../spoken.ts";

const DRAW_MS = 150;
const WORDS = { stop: spoken("■ stop"), caution: spoken("▲ caution"), note: spoken("note") } as const;

interface Drawn {
  svg: string | null;
  state: string;
  findings: { level: keyof typeof WORDS; text: string }[];
  wrong: Record<string, string>;
  missing: Record<string, string>;
  understood: Record<string, string>;
  usual: string[];
}

zoomable();
const form = document.querySelector<HTMLFormElement>("#survey");
if (form !== null && form.dataset["read"] === undefined) enter(form);

function enter(form: HTMLFormElement): void {
  const shelf = `eaveboard survey ${form.dataset["shelf"] ?? ""}`;
  const version = one<HTMLInputElement>('input[name="version"]', form);
  const base = one<HTMLInputElement>('input[name="base"]', form);
  const state = one("#state");
  const latest = new Latest(draw, DRAW_MS);
  let key = newKey();
  let native = false;
  let room = true;

  form.dataset["live"] = "";
  if (form.dataset["saved"] !== undefined) localStorage.removeItem(shelf);
  else if (form.dataset["fresh"] !== undefined) takeUp();
  else keepHere();

  form.addEventListener("input", changed);
  form.addEventListener("change", changed);
  form.addEventListener("click", (event) => {
    const button = (event.target as Element).closest<HTMLButtonElement>("button.add, button.drop");
    if (button === null) return;
    event.preventDefault();
    if (button.classList.contains("add")) addRow(one(".lines", button.closest<HTMLElement>(".rows")!));
    else dropRow(button.closest<HTMLElement>(".row")!);
    changed();
  });
  form.addEventListener("keydown", (event) => {
    const input = event.target;
    if (event.key !== "Enter" || !(input instanceof HTMLInputElement)) return;
    event.preventDefault();
    const row = input.closest<HTMLElement>(".row.one");
    if (row === null) void latest.now();
    else if (row.nextElementSibling !== null) one("input", row.nextElementSibling).focus();
    else if (input.value.trim() !== "") addRow(row.parentElement!);
  });
  form.addEventListener("submit", (event) => {
    if (native) return;
    event.preventDefault();
    if ((event.submitter as HTMLButtonElement | null)?.value === "keep") void keep();
    else void latest.now();
  });

  function changed(): void {
    key = newKey();
    keepHere();
    latest.changed();
  }

  function typed(): Record<string, string> {
    return fieldsOf(new FormData(form));
  }

  function keepHere(): void {
    const now: Typed = { fields: typed(), version: version.value, base: base.value, at: new Date().toISOString() };
    room = remember(localStorage, shelf, now);
  }

  /** Take up what was typed on this device before and never kept. */
  function takeUp(): void {
    const before = recall(localStorage, shelf);
    if (before === null || same(before.fields, typed())) return;
    const as = before.version === version.value;
    for (const list of all(".rows", form)) {
      const rows = one(".lines", list);
      rows.replaceChildren();
      const numbers = rowNumbers(before.fields, list.dataset["rows"] ?? "");
      for (const number of numbers.length > 0 ? numbers : [0]) rows.append(newRow(list, number, rows.children.length));
    }
    for (const field of all<HTMLInputElement>("input[name], select[name], textarea[name]", form)) {
      if (field.type === "hidden") continue;
      if (field.type === "checkbox") field.checked = field.name in before.fields;
      else field.value = before.fields[field.name] ?? "";
    }
    version.value = before.version;
    base.value = before.base;
    const away = make("button", { type: "button" }, spoken("Leave it away"));
    away.addEventListener("click", () => {
      localStorage.removeItem(shelf);
      location.reload();
    });
    const at = new Date(before.at).toLocaleString([], { dateStyle: "medium", timeStyle: "short" });
    const place = one("#kept-here");
    place.replaceChildren(
      make(
        "p",
        {},
        spoken("○ What was typed on this device on {at} and not kept stands in the form again.", { at }),
        as ? "" : ` ${spoken("Somebody has kept another version since: both are shown when you keep yours.")}`,
      ),
      away,
    );
    place.hidden = false;
    void latest.now();
  }

  async function draw(): Promise<void> {
    try {
      const atLeast = Number(form.dataset["atLeast"] ?? 0);
      const drawn = await send<Drawn>("POST", "/surveys/draw", { fields: typed(), at_least: atLeast, before: form.dataset["before"] !== undefined });
      show(drawn);
    } catch (fault) {
      if (!(fault instanceof Fault)) throw fault;
      state.textContent =
        fault.status === 0
          ? room
            ? spoken("No connection: not drawn. What you type stays on this device.")
            : spoken("No connection: not drawn. This device has no room to keep it.")
          : fault.message;
    }
  }

  function show(drawn: Drawn): void {
    for (const output of all<HTMLOutputElement>("output.read", form)) {
      const words = drawn.understood[output.htmlFor.value] ?? "";
      if (output.textContent !== words) output.textContent = words;
    }
    mark(drawn.wrong);
    const note = one("#old-drawing");
    one(".drawn").classList.toggle("old", drawn.svg === null);
    note.hidden = drawn.svg !== null;
    state.textContent = drawn.state;
    if (drawn.svg === null) {
      const marked = Object.keys(drawn.wrong).filter((name) => name !== "").map((name) => linked(name) ?? name);
      const mend = marked.flatMap((link, n) => [n === 0 ? `${spoken("Mend:")} ` : ", ", link]);
      note.replaceChildren(`${spoken("▲ This drawing is of what was right last.")} `, ...(mend.length > 0 ? mend : [drawn.wrong[""] ?? ""]));
      return;
    }
    const picture = new DOMParser().parseFromString(drawn.svg, "image/svg+xml").documentElement;
    one("#drawing").replaceChildren(document.importNode(picture, true));
    const usual = one("#usual");
    usual.hidden = drawn.usual.length === 0;
    usual.textContent = spoken("▲ Drawn with usual values, not measured ones: {usual}.", { usual: drawn.usual.join(", ") });
    one("#findings").replaceChildren(
      ...drawn.findings.map(({ level, text }) => make("li", { class: level }, make("b", {}, WORDS[level]), ` ${text}`)),
    );
  }

  /** Mark the fields that are wrong, and only those. */
  function mark(wrong: Record<string, string>): void {
    for (const place of all(".fault[id]", form)) {
      const name = place.id.replace(/-fault$/, "");
      const words = wrong[name] ?? "";
      if (place.textContent !== words) place.textContent = words;
      const field = document.getElementById(name);
      if (words === "") field?.removeAttribute("aria-invalid");
      else field?.setAttribute("aria-invalid", "true");
    }
  }

  async function keep(): Promise<void> {
    const body = new URLSearchParams(typed());
    for (const field of [version, base]) body.set(field.name, field.value);
    body.set("awning", form.dataset["awning"] ?? "");
    body.set("do", "keep");
    try {
      const { at } = await send<{ at: string }>("POST", form.action, body, { key });
      localStorage.removeItem(shelf);
      location.assign(at);
    } catch (fault) {
      if (!(fault instanceof Fault)) throw fault;
      if (fault.status === 412) {
        native = true; // both versions come as a page
        form.requestSubmit(one<HTMLButtonElement>("#keep"));
      } else if (fault.status === 422 && fault.errors.length > 0) refuse(fault.errors);
      else if (fault.status === 0 && room) say(spoken("No connection. What you typed stays on this device: keep it when there is a signal."));
      else say(fault.message);
    }
  }

  function refuse(errors: readonly FieldFault[]): void {
    mark(Object.fromEntries(errors.map(({ where, problem }) => [where, problem])));
    const listed = errors.map(({ where, problem }) => {
      const link = linked(where);
      return make("li", {}, ...(link === null ? [] : [link, ": "]), problem);
    });
    const place = one("#faults");
    place.replaceChildren(make("p", {}, spokenFor("▲ Not kept: {n} field is not right yet.", "▲ Not kept: {n} fields are not right yet.", errors.length)), make("ul", {}, ...listed));
    place.hidden = false;
    place.focus();
  }
}

/** Return the label of a field as a link to it; null where the page has no such field. */
function linked(name: string): HTMLElement | null {
  const label = document.querySelector(`label[for="${CSS.escape(name)}"]`)?.textContent;
  return label ? make("a", { href: `#${name}` }, label) : null;
}

function newRow(list: Element, number: number, before: number): HTMLElement {
  const text = one<HTMLTemplateElement>("template", list).innerHTML;
  const made = make("template");
  made.innerHTML = text.replaceAll("__n__", String(number)).replaceAll("__k__", String(before + 1));
  return one(".row", made.content);
}

function addRow(rows: Element): void {
  const numbers = [...rows.children].map((row) => Number((row as HTMLElement).dataset["number"]));
  const row = newRow(rows.closest(".rows")!, Math.max(-1, ...numbers) + 1, rows.children.length);
  rows.append(row);
  one("input", row).focus();
}

function dropRow(row: HTMLElement): void {
  const rows = row.parentElement!;
  const list = rows.closest<HTMLElement>(".rows")!;
  const next = row.nextElementSibling ?? row.previousElementSibling;
  row.remove();
  (next?.querySelector<HTMLElement>("input") ?? one("button.add", list)).focus();
  const word = list.dataset["row"] ?? "row";
  [...rows.children].forEach((other, n) => {
    other.setAttribute("aria-label", `${word} ${n + 1}`);
    one(".which", other).textContent = String(n + 1);
    one("button.drop", other).setAttribute("aria-label", spoken("Remove {word} {n}", { word, n: n + 1 }));
    for (const before of all("label .unseen", other)) before.textContent = `${word} ${n + 1}: `;
  });
}
