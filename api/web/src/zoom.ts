// Drawings nearer and farther: buttons before each figure marked data-zoom, and + - 0 on the keyboard while it has focus.
import { all, make } from "./common.ts";
import { spoken } from "./spoken.ts";

const STEP = 1.4;
const NEAREST = 6;

/** Return the scale after a step nearer (1), farther (-1) or back to the whole (0); never below the whole. */
export function stepped(scale: number, step: -1 | 0 | 1): number {
  if (step === 0) return 1;
  const next = step > 0 ? scale * STEP : scale / STEP;
  return Math.min(NEAREST, Math.max(1, Math.abs(next - 1) < 0.01 ? 1 : next));
}

/** Give every figure marked data-zoom its buttons and keys; drawings put into it later are scaled the same. */
export function zoomable(): void {
  for (const figure of all<HTMLElement>("figure[data-zoom]")) addZoom(figure);
}

function addZoom(figure: HTMLElement): void {
  let scale = 1;
  const show = (step: -1 | 0 | 1): void => {
    const old = scale;
    scale = stepped(scale, step);
    const middle = { x: figure.scrollLeft + figure.clientWidth / 2, y: figure.scrollTop + figure.clientHeight / 2 };
    fit();
    figure.scrollLeft = (middle.x * scale) / old - figure.clientWidth / 2;
    figure.scrollTop = (middle.y * scale) / old - figure.clientHeight / 2;
  };
  const fit = (): void => {
    const drawing = figure.querySelector<SVGElement>("svg");
    figure.classList.toggle("near", scale > 1);
    if (drawing !== null) drawing.style.width = `${Math.round(scale * 100)}%`;
  };
  const button = (step: -1 | 0 | 1, sign: string, words: string): HTMLElement => {
    const made = make("button", { type: "button", "aria-label": words, title: words }, sign);
    made.addEventListener("click", () => show(step));
    return made;
  };
  figure.before(
    make(
      "div",
      { class: "zoom", role: "group", "aria-label": spoken("Size of the drawing") },
      button(1, "+", spoken("Nearer")),
      button(-1, "−", spoken("Farther")),
      button(0, "▭", spoken("The whole drawing")),
    ),
  );
  figure.addEventListener("keydown", (event) => {
    const step = { "+": 1, "=": 1, "-": -1, "0": 0 }[event.key] as -1 | 0 | 1 | undefined;
    if (step === undefined || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    show(step);
  });
  new MutationObserver(fit).observe(figure, { childList: true });
}
