/**
 * How the page is built: from `tray/page` into `page` beside the compiled daemon. Nothing inline, since the page's policy
 * allows nothing inline; no polyfill that would fetch by itself.
 */

import { fileURLToPath } from "node:url";
import { defineConfig } from "vite";

const root = fileURLToPath(new URL("../../tray/page", import.meta.url));

export default defineConfig({
  root,
  base: "/",
  publicDir: false,
  logLevel: "warn",
  oxc: { jsx: { runtime: "automatic", importSource: "preact" } },
  build: {
    outDir: fileURLToPath(new URL("../../dist/page", import.meta.url)),
    emptyOutDir: true,
    assetsInlineLimit: 0,
    modulePreload: false,
    sourcemap: false,
    target: "es2022",
  },
});
