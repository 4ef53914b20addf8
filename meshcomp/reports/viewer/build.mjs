// Bundles src/ into the files that the Python package ships, one with three for the pages
// of parts, a small one for the pages of kits:
//   npm ci --ignore-scripts && npm run build
// The head of each file carries the licence of three and a digest of the sources, by which
// a test of the package sees a bundle that is older than its sources.
import { createHash } from "node:crypto";
import { readFileSync, readdirSync, writeFileSync } from "node:fs";
import { build } from "esbuild";

const assets = new URL("../assets/", import.meta.url);
const licence = readFileSync("node_modules/three/LICENSE", "utf8").replaceAll("\r", "");

const digest = createHash("sha256");
for (const name of ["package.json", ...readdirSync("src").sort().map((n) => `src/${n}`)]) {
  digest.update(readFileSync(name));
}

const sources = `sources ${digest.digest("hex")}`;
const made = {
  "report.min.js": {
    entry: "src/main.js",
    banner: `/* ${sources}\nContains three, under this licence:\n\n${licence.trim()}\n*/`,
  },
  "kit.min.js": { entry: "src/kit.js", banner: `/* ${sources} */` },
};
for (const [name, { entry, banner }] of Object.entries(made)) {
  await build({
    entryPoints: [entry],
    bundle: true,
    minify: true,
    format: "iife",
    target: "es2022",
    charset: "ascii",
    legalComments: "none",
    banner: { js: banner },
    outfile: new URL(name, assets).pathname,
  });
}
writeFileSync(new URL("three.LICENSE.txt", assets), licence);
