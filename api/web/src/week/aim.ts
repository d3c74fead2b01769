// Where a visit in hand is held: a place in a crew's day, or the pile; and where the arrow keys take it.

/** A place on the sheet; `position` counts the other visits of that day before it. */
export interface Cell {
  crew: string;
  day: number;
  position: number;
}

export type Aim = Cell | "pile";

/** The sheet as the arrows see it: crews down, days across, and how many other visits each day holds. */
export interface Grid {
  crews: readonly string[];
  days: number;
  /** The visits of a crew's day without the one in hand; null where the crew is off. */
  visits(crew: string, day: number): number | null;
}

export type Arrow = "ArrowUp" | "ArrowDown" | "ArrowLeft" | "ArrowRight";

export function isArrow(key: string): key is Arrow {
  return key === "ArrowUp" || key === "ArrowDown" || key === "ArrowLeft" || key === "ArrowRight";
}

export function same(a: Aim | null, b: Aim | null): boolean {
  if (a === null || b === null || a === "pile" || b === "pile") return a === b;
  return a.crew === b.crew && a.day === b.day && a.position === b.position;
}

/**
 * Return where an arrow takes the visit. Up and down go through the places of a day and on to the crews above and below;
 * left and right to the days, and past the last one to the pile. At an edge it stays. Days off are stepped over.
 */
export function step(grid: Grid, aim: Aim, arrow: Arrow, home: Cell): Aim {
  if (aim === "pile") return arrow === "ArrowLeft" ? across(grid, home.crew, grid.days, -1, home.position) ?? aim : aim;
  if (arrow === "ArrowLeft") return across(grid, aim.crew, aim.day, -1, aim.position) ?? aim;
  if (arrow === "ArrowRight") return across(grid, aim.crew, aim.day, 1, aim.position) ?? "pile";
  const down = arrow === "ArrowDown";
  const here = grid.visits(aim.crew, aim.day) ?? 0;
  const next = aim.position + (down ? 1 : -1);
  if (next >= 0 && next <= here) return { ...aim, position: next };
  const at = grid.crews.indexOf(aim.crew);
  for (let n = at + (down ? 1 : -1); n >= 0 && n < grid.crews.length; n += down ? 1 : -1) {
    const crew = grid.crews[n]!;
    const visits = grid.visits(crew, aim.day);
    if (visits !== null) return { crew, day: aim.day, position: down ? 0 : visits };
  }
  return aim;
}

function across(grid: Grid, crew: string, from: number, way: 1 | -1, position: number): Cell | null {
  for (let day = from + way; day >= 0 && day < grid.days; day += way) {
    const visits = grid.visits(crew, day);
    if (visits !== null) return { crew, day, position: Math.min(position, visits) };
  }
  return null;
}
