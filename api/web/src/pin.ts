// The pin of an address on a map that is drawn from what the service knows: where it stands, in kilometers and in words.
import { filled, spoken } from "./spoken.ts";

export interface Mark {
  kind: "yard" | "site";
  name: string;
  lat: number;
  lon: number;
}

/** The map as the page brings it: around (lat, lon), `half_km` from the middle to its edge. */
export interface PinMap {
  lat: number;
  lon: number;
  half_km: number;
  units: string;
  pin: [number, number] | null;
  marks: Mark[];
}

export interface Place {
  lat: number;
  lon: number;
}

export const WIDE = 600;
export const HIGH = 360;
export const FAR_KM = 100;
const KM_PER_DEGREE = 111.195;
const KM_PER_MILE = 1.609344;
const LEAST_KM = 0.1;
const MOST_KM = 4000;

/** Return where a place stands on the drawing. */
export function onMap(map: PinMap, place: Place): [number, number] {
  const k = WIDE / 2 / map.half_km;
  const east = (place.lon - map.lon) * KM_PER_DEGREE * Math.cos((map.lat * Math.PI) / 180);
  return [WIDE / 2 + east * k, HIGH / 2 + (map.lat - place.lat) * KM_PER_DEGREE * k];
}

/** Return the place at a point of the drawing, within the globe. */
export function placeAt(map: PinMap, x: number, y: number): Place {
  const k = WIDE / 2 / map.half_km;
  const lat = map.lat - (y - HIGH / 2) / k / KM_PER_DEGREE;
  const lon = map.lon + (x - WIDE / 2) / k / (KM_PER_DEGREE * Math.cos((map.lat * Math.PI) / 180));
  return { lat: Math.max(-89, Math.min(89, lat)), lon: Math.max(-180, Math.min(180, lon)) };
}

/** Return the map around another middle, nearer (`by` below 1) or farther. */
export function around(map: PinMap, middle: Place, by: number): PinMap {
  return { ...map, lat: middle.lat, lon: middle.lon, half_km: Math.max(LEAST_KM, Math.min(MOST_KM, map.half_km * by)) };
}

/** Return the map around a place that was found, so wide that the nearest yard stands on it. */
export function fitted(map: PinMap, place: Place): PinMap {
  const km = nearestYard(map, place)?.[1] ?? 8;
  return { ...map, lat: place.lat, lon: place.lon, half_km: Math.max(2, Math.min(250, 1.95 * km)) };
}

/** Say of each label's place whether it lies clear of those before it. */
export function clear(places: readonly (readonly [number, number])[]): boolean[] {
  const taken: (readonly [number, number])[] = [];
  return places.map(([x, y]) => {
    const free = taken.every(([a, b]) => Math.abs(a - x) > 110 || Math.abs(b - y) > 16);
    if (free) taken.push([x, y]);
    return free;
  });
}

/** Return the distance between two lines of the grid in kilometers, and in words. */
export function gridStep(map: PinMap): [number, string] {
  const unit = map.units === "imperial" ? KM_PER_MILE : 1;
  for (let power = -3; power <= 3; power++) {
    for (const m of [1, 2, 5]) {
      const step = m * 10 ** power;
      if (map.half_km / (step * unit) <= 5) return [step * unit, `${Number(step.toPrecision(2))} ${map.units === "imperial" ? "mi" : "km"}`];
    }
  }
  return [5000 * unit, `5000 ${map.units === "imperial" ? "mi" : "km"}`];
}

/** Return the kilometers between two places on a sphere (haversine). */
export function apartKm(a: Place, b: Place): number {
  const rad = Math.PI / 180;
  const h = Math.sin(((b.lat - a.lat) * rad) / 2) ** 2 +
    Math.cos(a.lat * rad) * Math.cos(b.lat * rad) * Math.sin(((b.lon - a.lon) * rad) / 2) ** 2;
  return 2 * 6371 * Math.asin(Math.min(1, Math.sqrt(h)));
}

/** Return the yard that is nearest to a place, with its distance; null where there is none. */
export function nearestYard(map: PinMap, place: Place): [Mark, number] | null {
  let best: [Mark, number] | null = null;
  for (const mark of map.marks) {
    if (mark.kind !== "yard") continue;
    const km = apartKm(mark, place);
    if (best === null || km < best[1]) best = [mark, km];
  }
  return best;
}

/** Say a distance as the business measures. */
export function distanceWords(km: number, units: string): string {
  const n = units === "imperial" ? km / KM_PER_MILE : km;
  return `${n < 10 ? n.toFixed(1) : Math.round(n).toLocaleString("en-US")} ${units === "imperial" ? "mi" : "km"}`;
}

/** Say where a place is, seen from the nearest yard: "6.2 mi northeast of North yard". */
export function whereWords(map: PinMap, place: Place): string {
  const near = nearestYard(map, place);
  if (near === null) return "";
  const [yard, km] = near;
  const east = (place.lon - yard.lon) * Math.cos((place.lat * Math.PI) / 180);
  const turn = (Math.atan2(east, place.lat - yard.lat) * 180) / Math.PI;
  const sides = [
    spoken("{far} north of {yard}"), spoken("{far} northeast of {yard}"), spoken("{far} east of {yard}"), spoken("{far} southeast of {yard}"),
    spoken("{far} south of {yard}"), spoken("{far} southwest of {yard}"), spoken("{far} west of {yard}"), spoken("{far} northwest of {yard}"),
  ];
  return filled(sides[(Math.round(turn / 45) + 8) % 8] ?? "", { far: distanceWords(km, map.units), yard: yard.name });
}

/** Return the question of a pin far from every yard, empty where it is near, or where there is no yard. */
export function farWords(map: PinMap, place: Place): string {
  const near = nearestYard(map, place);
  if (near === null || near[1] <= FAR_KM) return "";
  return spoken("The pin is {far} from the nearest yard, {yard}. Is it really that far?", { far: distanceWords(near[1], map.units), yard: near[0].name });
}

/** Return the place that a field holds such as "41.0213, -91.0305"; null where it holds none. */
export function readPin(text: string): Place | null {
  const found = /^\s*([+-]?\d{1,3}(?:\.\d+)?)\s*[,;\s]\s*([+-]?\d{1,3}(?:\.\d+)?)\s*$/.exec(text);
  if (found === null) return null;
  const place = { lat: Number(found[1]), lon: Number(found[2]) };
  return Math.abs(place.lat) <= 90 && Math.abs(place.lon) <= 180 ? place : null;
}

export function pinText(place: Place): string {
  return `${place.lat.toFixed(6)}, ${place.lon.toFixed(6)}`;
}

/** Return where an arrow key takes the pin: a hundredth of the map's width, with Shift a tenth; null for other keys. */
export function moved(map: PinMap, place: Place, key: string, far: boolean): Place | null {
  const step = far ? WIDE / 10 : WIDE / 100;
  const ways: Record<string, [number, number]> = {
    ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step],
  };
  const way = ways[key];
  if (way === undefined) return null;
  const [x, y] = onMap(map, place);
  return placeAt(map, x + way[0], y + way[1]);
}
