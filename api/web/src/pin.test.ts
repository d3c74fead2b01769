import assert from "node:assert/strict";
import test from "node:test";
import { apartKm, around, farWords, gridStep, moved, onMap, pinText, placeAt, readPin, whereWords, clear, fitted, type PinMap } from "./pin.ts";

const MAP: PinMap = {
  lat: 41, lon: -98, half_km: 20, units: "imperial", pin: null,
  marks: [{ kind: "yard", name: "North", lat: 41, lon: -98 }, { kind: "site", name: "9 Mill Lane", lat: 41.01, lon: -98 }],
};

test("a point of the drawing and its place lead to each other", () => {
  for (const [x, y] of [[300, 180], [12, 340], [590, 3]] as const) {
    const [px, py] = onMap(MAP, placeAt(MAP, x, y));
    assert.ok(Math.abs(px - x) < 1e-6 && Math.abs(py - y) < 1e-6);
  }
  assert.deepEqual(onMap(MAP, MAP), [300, 180]);
});

test("half the map's width is what it says, in kilometers", () => {
  assert.ok(Math.abs(apartKm(MAP, placeAt(MAP, 600, 180)) - 20) < 0.05);
});

test("lines of the grid are round miles or kilometers apart, eleven of them at most", () => {
  assert.deepEqual(gridStep(MAP), [5 * 1.609344, "5 mi"]);
  assert.deepEqual(gridStep({ ...MAP, units: "metric" }), [5, "5 km"]);
  assert.equal(gridStep({ ...MAP, half_km: 0.1 })[1], "0.02 mi");
});

test("arrow keys move the pin toward their side, with Shift ten times as far", () => {
  const up = moved(MAP, MAP, "ArrowUp", false);
  const far = moved(MAP, MAP, "ArrowUp", true);
  assert.ok(up !== null && far !== null && up.lat > 41 && Math.abs(up.lon + 98) < 1e-9);
  assert.ok(Math.abs((far.lat - 41) / (up.lat - 41) - 10) < 1e-6);
  const left = moved(MAP, MAP, "ArrowLeft", false);
  assert.ok(left !== null && left.lon < -98);
  assert.equal(moved(MAP, MAP, "a", false), null);
});

test("where a pin is, and whether that is far, is said from the nearest yard", () => {
  assert.equal(whereWords(MAP, { lat: 41.1, lon: -98 }), "6.9 mi north of North");
  assert.equal(whereWords(MAP, { lat: 40.95, lon: -98.07 }), "5.0 mi southwest of North");
  assert.equal(farWords(MAP, { lat: 41.8, lon: -98 }), "");
  assert.equal(farWords(MAP, { lat: 43.9, lon: -98 }), "The pin is 200 mi from the nearest yard, North. Is it really that far?");
  assert.equal(farWords({ ...MAP, marks: [] }, { lat: 0, lon: 0 }), "");
});

test("a field is read as latitude and longitude, or as nothing", () => {
  assert.deepEqual(readPin(" 41.0213, -91.0305 "), { lat: 41.0213, lon: -91.0305 });
  assert.equal(readPin("91, 0"), null);
  assert.equal(readPin("here"), null);
  assert.deepEqual(readPin(pinText({ lat: 41.5, lon: -98.25 })), { lat: 41.5, lon: -98.25 });
});

test("a found place is shown with its nearest yard, and labels do not lie on each other", () => {
  const place = { lat: 41.3, lon: -98 };
  const [x, y] = onMap(fitted(MAP, place), { lat: 41, lon: -98 });
  assert.ok(Math.abs(x - 300) < 1 && y > 180 && y < 360);
  assert.deepEqual(clear([[10, 10], [50, 20], [50, 40], [300, 12]]), [true, false, true, true]);
});

test("a map comes nearer around its pin, and no nearer than a street", () => {
  assert.equal(around(MAP, { lat: 42, lon: -98 }, 0.5).half_km, 10);
  assert.equal(around(MAP, MAP, 1e-9).half_km, 0.1);
});
