/**
 * Notices through node-notifier, on Linux `notify-send`. Plain text goes in and plain text is to be seen: whatever
 * a service could take for markup, an option or an escape is made harmless here. One at a time; a service that doesn't
 * answer costs one notice its time limit and nothing else.
 */

import notifier from "node-notifier";
import { type Millis, millis } from "../../../shared/units.ts";
import type { Notice, Notices } from "../../ports/notices.ts";

type Shown = Awaited<ReturnType<Notices["show"]>>;

/** Longer than D-Bus waits by itself for an answer (25 s by default, from memory, no source). */
const defaultLimit = millis(30_000);

export class NodeNotices implements Notices {
  readonly #limit: Millis;
  // Not the shared notifier: that one remembers for good that notify-send was missing when it first looked.
  readonly #notifier = new notifier.NotifySend({ suppressOsdCheck: true } as object);
  #last: Promise<unknown> = Promise.resolve();

  constructor(limit: Millis = defaultLimit) {
    this.#limit = limit;
  }

  show(notice: Notice): Promise<Shown> {
    const next = this.#last.then(() => this.#send(notice));
    this.#last = next;
    return next;
  }

  #send(notice: Notice): Promise<Shown> {
    return new Promise((resolve) => {
      const unavailable = (why: string): void => {
        clearTimeout(timer);
        resolve({ shown: false, unavailable: why });
      };
      const timer = setTimeout(() => unavailable("the notification service didn't answer"), this.#limit);
      try {
        this.#notifier.notify(
          {
            title: plainTitle(notice.title),
            message: plainBody(notice.body),
            urgency: notice.urgency,
            // What needs attention stays until it is dismissed (Desktop Notifications Specification 1.2: 0 never expires).
            ...(notice.urgency === "critical" ? { timeout: 0 } : {}),
          },
          (error) => {
            // Text instead of an error is what notify-send said on the side, though it succeeded.
            if (error instanceof Error) return unavailable(lastLine(error.message));
            clearTimeout(timer);
            resolve({ shown: true });
          },
        );
      } catch (error) {
        unavailable(String(error));
      }
    });
  }
}

/** One line, which notify-send doesn't take for an option. A summary has no markup and no escapes. */
function plainTitle(title: string): string {
  return notAnOption(title.replace(/[\r\n\0]+/g, " "));
}

/** The body is markup (specification as above, "Markup"), and notify-send reads C escapes in it (g_strcompress). */
function plainBody(body: string): string {
  const escaped = body
    .replaceAll("\0", "")
    .replaceAll("&", "&amp;")
    .replaceAll("<", "&lt;")
    .replaceAll(">", "&gt;")
    .replaceAll("\\", "\\\\");
  return notAnOption(escaped);
}

/** A blank first: an empty text is refused, and `-` begins an option. */
function notAnOption(text: string): string {
  return text === "" || text.startsWith("-") ? ` ${text}` : text;
}

function lastLine(text: string): string {
  return text.trim().split("\n").at(-1) ?? text;
}
