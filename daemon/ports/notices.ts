/** Notices on the desktop. They never stop or delay the work: where no service runs, `show` answers so and all goes on. */

export interface Notice {
  /** About 40 characters. Plain text. */
  readonly title: string;
  /** Plain text: no markup is meant, whatever it contains. */
  readonly body: string;
  readonly urgency: "low" | "normal" | "critical";
  /** Where the page shows the matter: what stands behind `#` in its address. */
  readonly matter?: string;
}

export interface Notices {
  /** Never rejects. `unavailable` says why nothing was shown. */
  show(
    notice: Notice,
  ): Promise<{ readonly shown: true } | { readonly shown: false; readonly unavailable: string }>;
}
