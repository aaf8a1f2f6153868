/**
 * Gets a bare clone ready: installed packages, system packages where that is possible, the build. Each step is left
 * out when there is nothing to do. Prints to standard error only, so that what is run afterwards owns standard output.
 */

import { spawnSync } from "node:child_process";
import { createHash } from "node:crypto";
import {
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmdirSync,
  rmSync,
  statSync,
  writeFileSync,
} from "node:fs";
import { join } from "node:path";
import { fileURLToPath } from "node:url";

/** The checkout's folder. */
export const checkout = fileURLToPath(new URL("../..", import.meta.url));

const at = (...parts) => join(checkout, ...parts);
const say = (text) => process.stderr.write(`${text}\n`);

/**
 * Does what is needed and was asked for. Throws with a plain sentence when the project can't be run afterwards.
 * @param {{ quiet: boolean, build: boolean, systemPackages: boolean, packageLists?: string[] }} wish quiet: say nothing
 *   unless it fails; packageLists: files in config/ that name system packages
 */
export function prepare({ quiet, build, systemPackages, packageLists = ["debian-packages.txt"] }) {
  if (!isInstalled()) {
    if (!quiet) say("Installing packages (npm ci) ...");
    run("npm", ["ci", "--no-audit", "--no-fund"], quiet, "The packages couldn't be installed.");
  }
  if (systemPackages) installSystemPackages(packageLists);
  if (build) withBuildLock(() => buildIfStale(quiet));
}

/** Whether node_modules holds exactly what package-lock.json says: npm writes down there what it installed. */
function isInstalled() {
  const installed = readJson("node_modules/.package-lock.json")?.packages;
  const wanted = readJson("package-lock.json")?.packages;
  if (installed === undefined || wanted === undefined) return false;
  return Object.entries(wanted).every(
    ([path, { version, optional }]) =>
      path === "" ||
      installed[path]?.version === version ||
      (optional === true && installed[path] === undefined),
  );
}

/** As root on Debian and its kin. What can't be installed is said and left: the tests that need it are skipped. */
function installSystemPackages(packageLists) {
  if (process.getuid?.() !== 0 || !isDebian()) return;
  const wanted = packageLists
    .flatMap((list) => readFileSync(at("config", list), "utf8").split("\n"))
    .map((line) => line.replace(/#.*/, "").trim())
    .filter((name) => name !== "");
  // biome-ignore lint/suspicious/noTemplateCurlyInString: dpkg-query's own placeholders
  const format = "${db:Status-Status} ${Package}\n";
  const { stdout } = spawnSync("dpkg-query", ["-W", "-f", format, ...wanted], { encoding: "utf8" });
  const present = new Set((stdout ?? "").split("\n").map((line) => line.replace(/^installed /, "")));
  const missing = wanted.filter((name) => !present.has(name));
  if (missing.length === 0) return;
  say(`Installing Debian packages: ${missing.join(", ")} ...`);
  const env = { ...process.env, DEBIAN_FRONTEND: "noninteractive" };
  spawnSync("apt-get", ["update", "-q"], { env, stdio: "ignore" });
  const install = ["install", "-y", "-q", "--no-install-recommends", ...missing];
  const { status, stderr } = spawnSync("apt-get", install, { env, encoding: "utf8" });
  if (status === 0) return;
  say(`They couldn't be installed; what needs them is skipped. ${(stderr ?? "").trim().split("\n").at(-1)}`);
}

function isDebian() {
  const release = existsSync("/etc/os-release") ? readFileSync("/etc/os-release", "utf8") : "";
  return /^ID(_LIKE)?="?([^"\n]* )?debian\b/m.test(release);
}

/** The stamp holds what the build was made from; another set of sources, older ones too, makes it anew. */
function buildIfStale(quiet) {
  const stamp = at("dist/.built-from");
  const sources = sourcesDigest();
  if (existsSync(stamp) && readFileSync(stamp, "utf8") === sources) return;
  if (!quiet) say("Building ...");
  // Into a folder beside it: a build that fails leaves the last good one, and what was built from a file that is gone
  // isn't found any more.
  rmSync(at("dist.new"), { recursive: true, force: true });
  const compiler = at("node_modules/typescript/bin/tsc");
  const args = [compiler, "-p", "tsconfig.json", "--noEmitOnError", "--outDir", "dist.new"];
  run(process.execPath, args, quiet, "The build failed.");
  const bundler = at("node_modules/vite/bin/vite.js");
  const page = ["build", "--config", at("config/tools/vite.config.mjs"), "--outDir", at("dist.new/page")];
  run(process.execPath, [bundler, ...page], quiet, "The page couldn't be built.");
  writeFileSync(at("dist.new/.built-from"), sources);
  rmSync(at("dist"), { recursive: true, force: true });
  renameSync(at("dist.new"), at("dist"));
}

function sourcesDigest() {
  const hash = createHash("sha256");
  const files = ["daemon", "shared", "config", "test", "tray"].flatMap((folder) =>
    readdirSync(at(folder), { recursive: true, encoding: "utf8" })
      .filter((name) => /\.ts$/.test(name) || (folder === "tray" && /\.(tsx|css|html|svg)$/.test(name)))
      .map((name) => join(folder, name)),
  );
  const settings = ["tsconfig.json", "tray/page/tsconfig.json", "config/tools/vite.config.mjs"];
  for (const file of [...files.sort(), ...settings, "package-lock.json"]) {
    const { mtimeMs, size } = statSync(at(file));
    hash.update(`${file}\0${mtimeMs}\0${size}\0`);
  }
  return hash.digest("hex");
}

/** One build at a time: a daemon and a command may be started at the same moment. */
function withBuildLock(act) {
  const lock = at("node_modules/.scrubjay-build-lock");
  for (;;) {
    try {
      mkdirSync(lock);
      break;
    } catch (error) {
      if (error.code !== "EEXIST") throw error;
      const since = statSync(lock, { throwIfNoEntry: false })?.mtimeMs;
      // No build takes two minutes; whoever held it was killed.
      if (since !== undefined && Date.now() - since > 120_000) rmSync(lock, { recursive: true, force: true });
      Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0, 100);
    }
  }
  try {
    act();
  } finally {
    rmdirSync(lock);
  }
}

function readJson(path) {
  try {
    return JSON.parse(readFileSync(at(path), "utf8"));
  } catch {
    return undefined; // Missing or torn: not installed.
  }
}

/** Runs a tool with its output on standard error; quiet, its output is shown only if it fails. */
function run(command, args, quiet, failure) {
  const stdio = quiet ? "pipe" : ["ignore", process.stderr, process.stderr];
  const { status, stdout, stderr } = spawnSync(command, args, { cwd: checkout, stdio, encoding: "utf8" });
  if (status === 0) return;
  if (quiet) say(`${stdout ?? ""}${stderr ?? ""}`.trim());
  throw new Error(failure);
}
