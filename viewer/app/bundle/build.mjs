// npm ci && npm run build: writes ../static/three.js with its license on top.
import { readFileSync } from "node:fs";
import { build } from "esbuild";

const read = (name) => readFileSync(new URL(`node_modules/three/${name}`, import.meta.url), "utf8");
const { version } = JSON.parse(read("package.json"));
await build({
  entryPoints: ["three-parts.js"],
  outfile: "../static/three.js",
  bundle: true,
  format: "esm",
  minify: true,
  target: "es2022",
  legalComments: "none",
  banner: { js: `/* three.js ${version}\n${read("LICENSE")}*/` },
});
