/**
 * The command line as tests call it: real arguments, real files in a home of their own, a real API with a pretended
 * daemon behind it. Importing this gives each test a world of its own.
 */

import { mkdtemp, rm, writeFile } from "node:fs/promises";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterEach, beforeEach } from "vitest";
import { type Api, createApi } from "../../daemon/api/server.ts";
import { runCommandLine } from "../../daemon/cli/run.ts";
import { homeFolders } from "../../daemon/home/homeFolders.ts";
import { writeRunFile } from "../../daemon/home/runFile.ts";
import { type FakeFace, fakeFace } from "../api/fakeFace.ts";
import { evening } from "./boards.ts";

export const token = "5a".repeat(32);

/** What a test may look at and change. */
export const world: {
  root: string;
  face: FakeFace;
  api: Api | undefined;
  env: Record<string, string>;
  columns: number | undefined;
  errColumns: number | undefined;
  /** Called when a command lets a second pass, of which nothing is waited for. */
  onSecond: (seconds: number) => void;
} = newWorld("");

function newWorld(root: string): typeof world {
  return {
    root,
    face: fakeFace(evening),
    api: undefined,
    env: { LANG: "C.UTF-8" },
    columns: undefined,
    errColumns: undefined,
    onSecond: () => undefined,
  };
}

beforeEach(async () => {
  Object.assign(world, newWorld(await mkdtemp(join(tmpdir(), "scrubjay-cli-"))));
});
afterEach(async () => {
  await world.api?.close();
  await rm(world.root, { recursive: true, force: true });
});

/** No test here meets a bug of the server. */
export const fail = (bug: unknown): never => {
  throw bug;
};

export interface Result {
  readonly exit: number;
  readonly out: string;
  readonly err: string;
}

export async function scrubjay(...args: string[]): Promise<Result> {
  let out = "";
  let err = "";
  let seconds = 0;
  const add = (text: string): void => {
    out += text;
  };
  const exit = await runCommandLine(args, {
    out: add,
    exact: add,
    err: (text) => {
      err += text;
    },
    columns: world.columns,
    rows: 30,
    errColumns: world.errColumns,
    pause: async () => {
      seconds += 1;
      world.onSecond(seconds);
      await new Promise((resolve) => setImmediate(resolve));
    },
    env: { SCRUBJAY_HOME: world.root, ...world.env },
    userHome: world.root,
  });
  return { exit, out, err };
}

export async function startDaemon(): Promise<void> {
  world.api = createApi(world.face, token, new Map(), fail);
  const { port } = await world.api.listen();
  const { run } = homeFolders({ SCRUBJAY_HOME: world.root }, world.root);
  await writeRunFile(run, { port, token, pid: process.pid });
}

export async function profileFile(text: string): Promise<string> {
  const file = join(world.root, "mine.yaml");
  await writeFile(file, text);
  return file;
}
