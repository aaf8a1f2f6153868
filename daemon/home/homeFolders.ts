/**
 * Where configuration, ledger and run-time files stand on this computer: one folder when SCRUBJAY_HOME says so, else
 * the places of the XDG Base Directory Specification.
 *
 * Invariant: the ledger is in `state`, never in a cache or in a folder that is gone after logout.
 * Not its job: making the folders.
 */

import { isAbsolute, join, resolve } from "node:path";
import { type AbsolutePath, absolutePath } from "../../shared/identity.ts";

export interface HomeFolders {
  /** Trip profiles. */
  readonly config: AbsolutePath;
  /** Ledger and logs. */
  readonly state: AbsolutePath;
  /** Pictures that can be made again; may be emptied at any time. */
  readonly cache: AbsolutePath;
  /** Port and token of the running daemon. */
  readonly run: AbsolutePath;
}

/**
 * @param env the process' environment
 * @param userHome the user's own folder, for defaults
 */
export function homeFolders(
  env: Readonly<Record<string, string | undefined>>,
  userHome: string,
): HomeFolders {
  const own = env["SCRUBJAY_HOME"];
  if (own !== undefined && own !== "") {
    const root = resolve(own);
    return folders(join(root, "config"), join(root, "state"), join(root, "cache"), join(root, "run"));
  }
  // XDG Base Directory: unset, empty or relative values count as not given.
  const given = (name: string): string | undefined => {
    const value = env[name];
    return value !== undefined && isAbsolute(value) ? value : undefined;
  };
  const state = join(given("XDG_STATE_HOME") ?? join(userHome, ".local", "state"), "scrubjay");
  const runtime = given("XDG_RUNTIME_DIR");
  return folders(
    join(given("XDG_CONFIG_HOME") ?? join(userHome, ".config"), "scrubjay"),
    state,
    join(given("XDG_CACHE_HOME") ?? join(userHome, ".cache"), "scrubjay"),
    runtime === undefined ? join(state, "run") : join(runtime, "scrubjay"),
  );
}

function folders(config: string, state: string, cache: string, run: string): HomeFolders {
  return {
    config: absolutePath(config),
    state: absolutePath(state),
    cache: absolutePath(cache),
    run: absolutePath(run),
  };
}
