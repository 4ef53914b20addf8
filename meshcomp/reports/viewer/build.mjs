// Bundles src/ and three into one file that the Python package ships:
//   npm ci --ignore-scripts && npm run build
// The head of the file carries the licence of three and a digest of the sources, by which
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

const banner = `/* sources ${digest.digest("hex")}
Contains three, under this licence:

${licence.trim()}
*/`;
await build({
  entryPoints: ["src/main.js"],
  bundle: true,
  minify: true,
  format: "iife",
  target: "es2022",
  charset: "ascii",
  legalComments: "none",
  banner: { js: banner },
  outfile: new URL("report.min.js", assets).pathname,
});
writeFileSync(new URL("three.LICENSE.txt", assets), licence);
