// A crate's count as the service tells it, and what has been tapped here and not been answered yet.
import { spoken } from "./spoken.ts";

export interface Item {
  item: string;
  listed: number;
  counted: number;
  damaged: number;
  looked: boolean;
  missing: number;
}

export interface Line {
  id: number;
  item: string;
  pieces: number;
  damaged: number;
  code: string;
  by: string;
  when: string;
}

/** What GET /bench/{visit} gives. */
export interface Crate {
  visit: string;
  count: { id: number; version: number } | null;
  counted: number;
  listed: number;
  untouched: string[];
  items: Item[];
  lines: Line[];
  scanned?: string;
  moved_to?: string;
}

/** A tap on its way: pieces more, or how many there are `to` be in all. */
export interface Tap {
  item: string;
  pieces: number;
  damaged: number;
  to: number | null;
}

/** Return an item as it will stand when the taps on their way have come through. */
export function ahead(item: Item, taps: readonly Tap[]): Item {
  let { counted, damaged, looked } = item;
  for (const tap of taps) {
    if (tap.item !== item.item) continue;
    counted = Math.max(0, tap.to ?? counted + tap.pieces);
    damaged = Math.min(counted, Math.max(0, damaged + tap.damaged));
    looked = true;
  }
  return { ...item, counted, damaged, looked };
}

/** Say in words and by mark how an item stands; `warn` where something is left to do. */
export function words(item: Item): { text: string; warn: boolean } {
  if (!item.looked) return { text: spoken("○ not looked at"), warn: true };
  const short = item.listed - item.counted + item.damaged;
  if (short > 0) return { text: spoken("▲ {n} short", { n: short }), warn: true };
  return { text: item.listed === 0 ? spoken("+ not on the list") : spoken("✓ all here"), warn: false };
}

/** Say what a line did: "+1 bracket", "bracket, +1 damaged"; `name`: what the reader calls its item. */
export function told(line: Line, name = line.item): string {
  const pieces = line.pieces !== 0 || line.damaged === 0 ? `${signed(line.pieces)} ` : "";
  const item = `${pieces}${name}`;
  return line.damaged === 0 ? item : spoken("{item}, {n} damaged", { item, n: signed(line.damaged) });
}

function signed(n: number): string {
  return n < 0 ? String(n) : `+${n}`;
}
