/**
 * The rules of the house, held by a test: who may import whom, which calls belong in which place, how a file opens.
 * The rules are data, each with its reason. Reading is by pattern over the text without its comments, which is enough
 * for code that passes the formatter. Not its job: what the compiler and the linter already hold (types, `any`, unused
 * names).
 */

import { existsSync, readdirSync, readFileSync } from "node:fs";
import { dirname, join, posix } from "node:path";
import { fileURLToPath } from "node:url";
import { describe, expect, test } from "vitest";

const checkout = fileURLToPath(new URL("../..", import.meta.url));

interface Layer {
  /** Paths that begin so are in this layer; the first layer that fits counts. */
  readonly where: string;
  /** Beginnings of what it may import besides itself: own paths, `node:`, or names of packages. */
  readonly mayUse: readonly string[];
  readonly reason: string;
}

const layers: readonly Layer[] = [
  { where: "shared/", mayUse: [], reason: "the nouns that everything speaks; page and tray use them too" },
  { where: "config/", mayUse: [], reason: "data with reasons, no logic" },
  {
    where: "daemon/core/",
    mayUse: ["shared/", "yaml", "temporal-polyfill", "picomatch"],
    reason:
      "decisions are values from values: nothing here can fail, wait or differ from run to run; reading YAML, calendars and patterns of names are such too",
  },
  { where: "daemon/ports/", mayUse: ["shared/"], reason: "interfaces only" },
  {
    where: "daemon/record/",
    mayUse: ["daemon/ports/", "shared/", "config/", "zod"],
    reason: "formats on a drive outlive every other part",
  },
  {
    where: "daemon/engine/",
    mayUse: ["daemon/core/", "daemon/ports/", "daemon/record/", "shared/", "config/"],
    reason: "the same engine runs on real media, practice folders and in a simulated world",
  },
  {
    where: "daemon/platform/select.ts",
    mayUse: ["daemon/platform/", "daemon/ports/", "shared/", "config/", "node:"],
    reason: "picks the adapters and gives them their bounds",
  },
  {
    where: "daemon/platform/",
    mayUse: [
      "daemon/ports/",
      "shared/",
      "node:",
      "@particle/dbus-next",
      "better-sqlite3",
      "chokidar",
      "drivelist",
      "exiftool-vendored",
      "node-notifier",
      "sharp",
      "usb",
      "xxhash-wasm",
      "zod",
    ],
    reason: "an adapter knows the outside world and its port, nothing of the job",
  },
  {
    where: "daemon/ledger/",
    mayUse: ["daemon/ports/", "shared/", "node:", "better-sqlite3", "zod"],
    reason: "the only place that speaks SQL",
  },
  {
    where: "daemon/home/",
    mayUse: ["daemon/core/", "daemon/ports/", "shared/", "config/", "node:", "zod"],
    reason: "the user's own folder: configuration, token, logs",
  },
  {
    where: "daemon/api/client.ts",
    mayUse: ["daemon/api/", "daemon/home/", "shared/", "config/", "node:", "zod"],
    reason: "finds the running daemon by the file it left in the user's own folder",
  },
  {
    where: "daemon/api/",
    mayUse: ["daemon/core/", "shared/", "config/", "node:", "fastify", "zod"],
    reason: "answers questions through its face, never reaches into the engine",
  },
  {
    where: "daemon/faces/",
    mayUse: [
      "daemon/api/editsFace.ts",
      "daemon/api/face.ts",
      "daemon/api/framesFace.ts",
      "daemon/api/homeFace.ts",
      "daemon/api/tripsFace.ts",
      "daemon/core/",
      "daemon/engine/",
      "daemon/home/",
      "daemon/ports/",
      "shared/",
      "config/",
    ],
    reason: "answers what the API asks, out of engine and the user's own folder",
  },
  {
    where: "daemon/cli",
    mayUse: [
      "daemon/core/",
      "daemon/home/",
      "daemon/api/client.ts",
      "daemon/engine/homecoming/check.ts",
      "daemon/engine/progress.ts",
      "daemon/ledger/oneOnly.ts",
      "daemon/platform/select.ts",
      "daemon/main.ts",
      "tray/main.ts",
      "tray/startDaemon.ts",
      "tray/platform/select.ts",
      "shared/",
      "config/",
      "node:",
    ],
    reason:
      "talks to the daemon by its API; `daemon` starts it, `tray` the tray, once each, `doctor` asks the platform, and " +
      "`archive check` reads a folder without any daemon",
  },
  {
    where: "daemon/main.ts",
    mayUse: ["daemon/", "shared/", "config/", "node:"],
    reason: "puts everything together",
  },
  {
    where: "tray/page/",
    mayUse: ["shared/", "preact"],
    reason: "runs in a browser: what it knows of the daemon it asks over the API",
  },
  {
    where: "tray/platform/",
    mayUse: [
      "tray/",
      "daemon/platform/common/nodeNotices.ts",
      "daemon/ports/notices.ts",
      "shared/",
      "node:",
      "@particle/dbus-next",
      "systray2",
    ],
    reason: "where the icon stands, as each system has it, and its notices as the daemon shows them",
  },
  {
    where: "tray/",
    mayUse: ["daemon/api/client.ts", "daemon/ports/notices.ts", "shared/", "node:"],
    reason: "one more client of the daemon's API, in a process of its own",
  },
];

interface Ban {
  readonly what: RegExp;
  /** Only files whose path begins so. */
  readonly within: readonly string[];
  readonly except: readonly string[];
  readonly reason: string;
}

const bans: readonly Ban[] = [
  {
    what: /\b(await|async|Date|setTimeout|setInterval|process|crypto|performance)\b/,
    within: ["daemon/core/"],
    except: [],
    reason: "the core doesn't wait, ask the time, or look around",
  },
  {
    what: /\bMath\.random\b/,
    within: ["daemon/", "shared/", "config/", "test/"],
    except: [],
    reason: "randomness comes through its port, and in tests from a seed, so that every run can be repeated",
  },
  {
    what: /\bDate\.now\b|\bnew Date\b|\bDate\(\)/,
    within: ["daemon/", "shared/", "config/"],
    except: ["daemon/platform/common/systemClock.ts", "shared/format.ts"],
    reason: "time comes through its port",
  },
  {
    what: /\bprocess\.platform\b|\bos\.platform\(|\bos\.type\(/,
    within: ["daemon/", "shared/", "config/", "tray/"],
    except: ["daemon/platform/select.ts", "tray/platform/select.ts"],
    reason: "a platform difference is data or a folder",
  },
  {
    what: /\bconsole\./,
    within: ["daemon/", "shared/", "config/"],
    except: ["daemon/cli"],
    reason: "people are spoken to through notices, board and command line",
  },
  {
    what: /\b(test|it|describe)(\.\w+)*\.only\b/,
    within: ["test/"],
    except: [],
    reason: "it would keep every other test from running",
  },
  {
    what: /^export default\b/m,
    within: ["daemon/", "shared/", "config/", "test/"],
    except: ["config/tools/vitest.config.mjs", "config/tools/vite.config.mjs"],
    reason: "a thing has one name everywhere; vite and vitest read their settings from a default export",
  },
  {
    what: /\bprocess\.exit\(/,
    within: ["daemon/", "shared/"],
    except: ["daemon/cli", "daemon/main.ts", "daemon/platform/common/pictureWorker.ts"],
    reason:
      "only the outermost layer ends the process, after all others have finished; the picture worker is a process of its own",
  },
];

/** Functions of Node that change what stands on a volume; each has exactly one home. */
const changesFiles =
  /^(rename|unlink|rm|rmdir|copyFile|cp|writeFile|appendFile|truncate|link|symlink)(Sync)?$/;
const mayChangeFiles = ["daemon/platform/", "daemon/home/"];

/** One folder of tests an area, and what they share. */
const testFolders: readonly string[] = [
  "api",
  "bench",
  "cards",
  "cli",
  "contract",
  "core",
  "crash",
  "demo",
  "engine",
  "fuzz",
  "home",
  "hotplug",
  "ledger",
  "media",
  "page",
  "record",
  "run",
  "shared",
  "simulator",
  "support",
  "tidy",
  "tray",
  "week",
];

/** What belongs to one computer and not to the project. */
const privateWords: readonly string[] = [["", "work", ""].join("/"), ["", "root", ""].join("/")];

interface Source {
  readonly path: string;
  readonly text: string;
  /** The text without comments. */
  readonly code: string;
  readonly imports: readonly { readonly target: string; readonly typeOnly: boolean }[];
}

const sources: readonly Source[] = ["daemon", "shared", "config", "test", "tray"]
  .filter((folder) => existsSync(join(checkout, folder)))
  .flatMap((folder) =>
    readdirSync(join(checkout, folder), { recursive: true, encoding: "utf8" })
      .filter((name) => /\.(ts|tsx|mjs)$/.test(name))
      .map((name) => posix.join(folder, name)),
  )
  .map((path) => {
    const text = readFileSync(join(checkout, path), "utf8");
    const code = withoutComments(text);
    return { path, text, code, imports: importsOf(path, code) };
  });

/** Strings are kept as they are: a `//` in an address begins no comment. */
function withoutComments(text: string): string {
  const pieces =
    /"(?:\\.|[^"\\\n])*"|'(?:\\.|[^'\\\n])*'|`(?:\\[\s\S]|[^`\\])*`|\/\*[\s\S]*?\*\/|\/\/[^\n]*/g;
  return text.replace(pieces, (piece) => (piece.startsWith("/") ? " " : piece));
}

function importsOf(path: string, code: string): Source["imports"] {
  const found: { target: string; typeOnly: boolean }[] = [];
  const from =
    /^(?:import|export)\s+(type\s)?[^"';]*?from\s+"([^"]+)"|^import\s+"([^"]+)"|\bimport\("([^"]+)"\)/gm;
  for (const [, type, named, bare, dynamic] of code.matchAll(from)) {
    const target = named ?? bare ?? dynamic ?? "";
    const own = target.startsWith(".") ? posix.join(dirname(path), target) : target;
    found.push({ target: own, typeOnly: type !== undefined });
  }
  return found;
}

const startsWithAny = (text: string, beginnings: readonly string[]): boolean =>
  beginnings.some((beginning) => text === beginning || text.startsWith(beginning));

const uses = (target: string, allowed: string): boolean =>
  allowed.endsWith("/") || allowed.endsWith(":") || allowed.includes(".ts")
    ? target.startsWith(allowed)
    : target === allowed || target.startsWith(`${allowed}/`);

describe("who may import whom", () => {
  for (const layer of layers) {
    test(`${layer.where} uses only what it may: ${layer.reason}`, () => {
      const mine = sources.filter(
        ({ path }) => /\.tsx?$/.test(path) && layers.find((each) => path.startsWith(each.where)) === layer,
      );
      const wrong = mine.flatMap(({ path, imports }) =>
        imports
          .filter(({ target }) => ![layer.where, ...layer.mayUse].some((allowed) => uses(target, allowed)))
          .filter(({ target }) => !target.startsWith(layer.where))
          .map(({ target }) => `${path} imports ${target}`),
      );
      expect(wrong).toEqual([]);
    });
  }

  test("every file of the daemon, of shared and of config is in a layer", () => {
    const strays = sources.filter(
      ({ path }) =>
        !startsWithAny(path, ["test/", "tray/", "config/tools/"]) &&
        !layers.some((each) => path.startsWith(each.where)),
    );
    expect(strays.map(({ path }) => path)).toEqual([]);
  });

  test("nothing but tests imports tests", () => {
    const wrong = sources.filter(
      ({ path, imports }) =>
        !path.startsWith("test/") && imports.some(({ target }) => target.startsWith("test/")),
    );
    expect(wrong.map(({ path }) => path)).toEqual([]);
  });

  test("no files import each other in a circle", () => {
    const edges = new Map(
      sources.map(({ path, imports }) => [
        path,
        imports.filter((each) => !each.typeOnly).map((each) => each.target),
      ]),
    );
    const done = new Set<string>();
    const circles: string[] = [];
    const visit = (path: string, trail: readonly string[]): void => {
      if (trail.includes(path)) circles.push([...trail.slice(trail.indexOf(path)), path].join(" → "));
      else if (!done.has(path)) for (const next of edges.get(path) ?? []) visit(next, [...trail, path]);
      done.add(path);
    };
    for (const path of edges.keys()) visit(path, []);
    expect(circles).toEqual([]);
  });
});

describe("what is done in one place only", () => {
  for (const ban of bans) {
    test(`${ban.what.source} in ${ban.within.join(" ")}: ${ban.reason}`, () => {
      const wrong = sources
        .filter(({ path }) => startsWithAny(path, ban.within) && !startsWithAny(path, ban.except))
        // This file holds the patterns themselves.
        .filter(
          ({ path, code }) => path !== "test/tidy/houseRules.test.ts" && ban.what.test(withoutStrings(code)),
        );
      expect(wrong.map(({ path }) => path)).toEqual([]);
    });
  }

  test("only the file adapter and the user's own folder change files", () => {
    const wrong = sources
      .filter(
        ({ path }) => startsWithAny(path, ["daemon/", "shared/"]) && !startsWithAny(path, mayChangeFiles),
      )
      .flatMap(({ path, code }) =>
        fileFunctions(code)
          .filter((name) => changesFiles.test(name))
          .map((name) => `${path}: ${name}`),
      );
    expect(wrong).toEqual([]);
  });
});

/** Names of Node's file functions that the code imports, or calls on an imported module. */
function fileFunctions(code: string): readonly string[] {
  const names: string[] = [];
  const clause = /^import\s+([^"';]*?)\s+from\s+"(?:node:)?fs(?:\/promises)?"/gm;
  for (const [, what = ""] of code.matchAll(clause)) {
    const braces = /\{([^}]*)\}/.exec(what)?.[1] ?? "";
    const named = braces.split(",").map((each) => each.trim().split(/\s+as\s+/)[0] ?? "");
    names.push(...named.filter((name) => name !== ""));
    const whole = /^(?:\*\s+as\s+)?(\w+)/.exec(what)?.[1];
    if (whole !== undefined) {
      for (const [, name = ""] of code.matchAll(new RegExp(`\\b${whole}\\.(?:promises\\.)?(\\w+)`, "g")))
        names.push(name);
    }
  }
  return names;
}

function withoutStrings(code: string): string {
  return code.replace(/"(?:\\.|[^"\\\n])*"|'(?:\\.|[^'\\\n])*'/g, '""');
}

describe("how files are", () => {
  test("every file opens with a comment that says why it exists", () => {
    const wrong = sources.filter(
      ({ text }) => !/^(#![^\n]*\n)?\/\*\*\s*(\n \* )?\S[\s\S]{20,}?\*\//.test(text),
    );
    expect(wrong.map(({ path }) => path)).toEqual([]);
  });

  test("own files are imported by name with their ending, and no file is called index", () => {
    const wrong = sources.flatMap(({ path, imports }) =>
      imports
        .filter(
          ({ target }) =>
            /^(daemon|shared|config|test|tray)\//.test(target) && !/\.(ts|tsx|mjs)$/.test(target),
        )
        .map(({ target }) => `${path} imports ${target}`),
    );
    expect(wrong).toEqual([]);
    expect(sources.map(({ path }) => path).filter((path) => /\/index\.\w+$/.test(path))).toEqual([]);
  });

  test("no file only hands on what others export", () => {
    const barrels = sources.filter(({ code }) => {
      const rest = code.replace(/^export\s[^"';]*?from\s+"[^"]+";?/gm, "");
      return rest.trim() === "" && code.trim() !== "";
    });
    expect(barrels.map(({ path }) => path)).toEqual([]);
  });

  test("tests stand in the folder of their area, and only tests are named so", () => {
    const folders = readdirSync(join(checkout, "test"), { withFileTypes: true });
    expect(folders.map((entry) => entry.name).filter((name) => !testFolders.includes(name))).toEqual([]);
    const tests = sources.filter(({ path }) => /\.test\.ts$/.test(path));
    expect(tests.filter(({ path }) => !/^test\/\w+\/[\w.]+$/.test(path)).map(({ path }) => path)).toEqual([]);
    expect(tests.filter(({ code }) => !/\btest\b/.test(code)).map(({ path }) => path)).toEqual([]);
  });

  test("nothing of one computer's own is in the sources", () => {
    const wrong = sources.filter(
      ({ path, text }) =>
        path !== "test/tidy/houseRules.test.ts" && privateWords.some((word) => text.includes(word)),
    );
    expect(wrong.map(({ path }) => path)).toEqual([]);
  });

  test("packages come from the public registry and are checked, so that any clone can be installed", () => {
    const lock: { packages: Record<string, { resolved?: string; integrity?: string }> } = JSON.parse(
      readFileSync(join(checkout, "package-lock.json"), "utf8"),
    );
    const packages = Object.entries(lock.packages).filter(([path]) => path !== "");
    expect(packages.length).toBeGreaterThan(0);
    const elsewhere = packages.filter(
      ([, { resolved }]) => resolved?.startsWith("https://registry.npmjs.org/") === false,
    );
    expect(elsewhere.map(([path]) => path)).toEqual([]);
    expect(packages.filter(([, { integrity }]) => integrity === undefined).map(([path]) => path)).toEqual([]);
  });

  test("what every clone needs is there", () => {
    const needed = ["README.md", "LICENSE", ".ci/run", "package-lock.json"];
    expect(needed.filter((name) => !existsSync(join(checkout, name)))).toEqual([]);
  });
});

describe("the rules themselves", () => {
  test("reading imports finds every form", () => {
    const code =
      'import a, { b } from "./x.ts";\nimport type { C } from "../y.ts";\nimport "zod";\nexport { d } from "./z.ts";\nconst e = await import("usb");\n';
    expect(importsOf("daemon/core/here.ts", code)).toEqual([
      { target: "daemon/core/x.ts", typeOnly: false },
      { target: "daemon/y.ts", typeOnly: true },
      { target: "zod", typeOnly: false },
      { target: "daemon/core/z.ts", typeOnly: false },
      { target: "usb", typeOnly: false },
    ]);
  });

  test("reading file functions finds named, whole and promised ones", () => {
    const code =
      'import { rm, writeFile as put } from "node:fs/promises";\nimport * as fs from "node:fs";\nfs.promises.rename(a, b);\nfs.lstatSync(a);\n';
    expect(fileFunctions(code)).toEqual(["rm", "writeFile", "rename", "lstatSync"]);
  });

  test("comments are left out, addresses and patterns in text are kept", () => {
    expect(withoutComments('a; // b\n/* c */ d("http://e"); `//f`').replace(/\s+/g, " ")).toBe(
      'a; d("http://e"); `//f`',
    );
  });
});
