// The drawing of a run: the best cost and the bound closing in on each other as the seconds go by.

/** One moment of a run; costs in cents, null while not known. */
export interface Moment {
  seconds: number;
  cost: number | null;
  bound: number | null;
}

const WIDTH = 600;
const HEIGHT = 60;
const EDGE = 3;

/**
 * Return the paths of cost and bound over time, as steps. The scale is that of the last quarter of the gap's history: the
 * first plans are so dear that the end of the search would be a flat line under them.
 */
export function curve(moments: readonly Moment[]): { cost: string; bound: string } {
  const costs = moments.flatMap((m) => (m.cost === null ? [] : [m.cost]));
  const bounds = moments.flatMap((m) => (m.bound === null ? [] : [m.bound]));
  if (costs.length === 0) return { cost: "", bound: "" };
  const low = Math.min(...costs, ...(bounds.length > 0 ? [Math.max(...bounds)] : []));
  const high = Math.max(costs[Math.floor(costs.length / 4)] ?? low, low + 1);
  const until = Math.max(...moments.map((m) => m.seconds), 0.1);
  const x = (seconds: number) => ((seconds / until) * WIDTH).toFixed(1);
  const y = (cents: number) => {
    const share = Math.min(1, Math.max(0, (cents - low) / (high - low)));
    return (HEIGHT - EDGE - share * (HEIGHT - 2 * EDGE)).toFixed(1);
  };
  const steps = (of: (m: Moment) => number | null) => {
    let path = "";
    for (const moment of moments) {
      const cents = of(moment);
      if (cents === null) continue;
      path += path === "" ? `M${x(moment.seconds)} ${y(cents)}` : `H${x(moment.seconds)}V${y(cents)}`;
    }
    return path === "" ? "" : `${path}H${WIDTH}`;
  };
  return { cost: steps((m) => m.cost), bound: steps((m) => m.bound) };
}
