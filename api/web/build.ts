// Bundle every page's script and every worker, and lay the letters beside them, in ../static/built: `npm run build`, with source maps `-- --maps`.
import { build } from "esbuild";
import { copyFileSync, globSync, mkdirSync, readdirSync, renameSync, rmSync, writeFileSync } from "node:fs";
import { basename, join } from "node:path";

const here = import.meta.dirname;
const out = join(here, "..", "static", "built");

/** Bundle the entries found by `pattern`; return the names of the files written. */
async function bundle(pattern: string, format: "esm" | "iife"): Promise<string[]> {
  const entryPoints = globSync(pattern, { cwd: here }).filter((path) => !path.includes(".test."));
  if (entryPoints.length === 0) return [];
  const made = await build({
    entryPoints,
    absWorkingDir: here,
    outdir: out,
    entryNames: "[name]",
    bundle: true,
    minify: true,
    format,
    target: "es2022",
    sourcemap: process.argv.includes("--maps"),
    legalComments: "eof",
    logLevel: "warning",
    write: false,
  });
  for (const file of made.outputFiles) {
    // Renamed into place: a service that is running never reads half a file.
    writeFileSync(`${file.path}.part`, file.contents);
    renameSync(`${file.path}.part`, file.path);
  }
  return made.outputFiles.map((file) => basename(file.path));
}

mkdirSync(out, { recursive: true });
const pages = await bundle("src/pages/*.ts", "esm");
const workers = await bundle("src/worker/*.ts", "iife");
const twice = pages.filter((name) => workers.includes(name));
if (twice.length > 0) throw new Error(`a page and a worker have one name: ${twice.join(", ")}`);
// Only the weights and the alphabet that paper.css names.
const letters = [400, 500, 600].map((weight) => `barlow-semi-condensed-latin-${weight}-normal.woff2`);
for (const name of letters) {
  copyFileSync(join(here, "node_modules/@fontsource/barlow-semi-condensed/files", name), join(out, `${name}.part`));
  renameSync(join(out, `${name}.part`), join(out, name));
}
const kept = new Set([...pages, ...workers, ...letters]);
for (const name of readdirSync(out)) if (!kept.has(name) && !/\.part$|^\.stamp$/.test(name)) rmSync(join(out, name));
console.log(`${pages.length + workers.length} scripts and ${letters.length} fonts in api/static/built`);
