/**
 * Keeps a draft and the daemon's word on it together while someone types: changes go into the text, the text is
 * checked, one question at a time, and an answer about a text that is no longer there is dropped.
 *
 * Not its job: what is shown.
 */

import type { ProfileChangeJson, ProfileCheckJson, ProfileFormJson } from "../../../shared/tripsApi.ts";
import { changedForm, type Draft, isChanged, withChanges, withText } from "./draft.ts";

/** ms. From the last key that was pressed to the question. */
const pause = 250;

/** What is asked of the daemon. Both fail with an `Error` in the daemon's words. */
export interface EditorQuestions {
  edit(text: string, changes: readonly ProfileChangeJson[]): Promise<string>;
  check(text: string, trip: string | null): Promise<ProfileCheckJson>;
}

export interface EditorState {
  readonly draft: Draft;
  /** The values as typed; null where only the text can be mended. */
  readonly form: ProfileFormJson | null;
  /** The last answer; undefined before the first. */
  readonly check: ProfileCheckJson | undefined;
  /** Why the daemon gave none. */
  readonly problem: Error | undefined;
}

export class TripEditor {
  readonly #questions: EditorQuestions;
  readonly #told: (state: EditorState) => void;
  #state: EditorState;
  #checked: string | undefined;
  /** How many of the waiting changes are on their way. */
  #sent = 0;
  #timer: ReturnType<typeof setTimeout> | undefined;
  #running: Promise<void> | undefined;
  #stopped = false;

  constructor(draft: Draft, questions: EditorQuestions, told: (state: EditorState) => void) {
    this.#questions = questions;
    this.#told = told;
    this.#state = { draft, form: null, check: undefined, problem: undefined };
    void this.settle();
  }

  get state(): EditorState {
    return this.#state;
  }

  /** Changes of the form: shown at once, in the text soon. */
  change(changes: readonly ProfileChangeJson[]): void {
    const { draft, form } = this.#state;
    this.#set({
      draft: withChanges(draft, changes, this.#sent),
      form: form === null ? null : changedForm(form, changes),
    });
    this.#soon();
  }

  /** The text as someone typed it. */
  write(text: string): void {
    this.#set({ draft: { ...this.#state.draft, text, waiting: [] } });
    this.#sent = 0;
    this.#soon();
  }

  /** The text stands in the file now. */
  saved(trip: string, stamp: string, text: string): void {
    this.#set({ draft: { ...this.#state.draft, trip, stamp, saved: text } });
  }

  /** Resolves when every change is in the text and the text was checked, or the daemon wouldn't answer. */
  settle(): Promise<void> {
    clearTimeout(this.#timer);
    this.#running ??= this.#work().finally(() => {
      this.#running = undefined;
    });
    return this.#running;
  }

  /** Nothing is told any more. */
  stop(): void {
    this.#stopped = true;
    clearTimeout(this.#timer);
  }

  get isChanged(): boolean {
    return isChanged(this.#state.draft);
  }

  #soon(): void {
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => void this.settle(), pause);
  }

  async #work(): Promise<void> {
    try {
      while (!this.#stopped) {
        const { draft } = this.#state;
        if (draft.waiting.length > 0) await this.#edit(draft);
        else if (draft.text !== this.#checked) await this.#check(draft);
        else return;
        this.#set({ problem: undefined });
      }
    } catch (failure) {
      if (!(failure instanceof Error)) throw failure;
      this.#sent = 0;
      this.#set({ problem: failure });
    }
  }

  async #edit({ text, waiting }: Draft): Promise<void> {
    this.#sent = waiting.length;
    const changed = await this.#questions.edit(text, waiting);
    // Somebody wrote another text meanwhile: these changes were given up with the form.
    if (this.#state.draft.text === text && this.#sent > 0)
      this.#set({ draft: withText(this.#state.draft, changed, this.#sent) });
    this.#sent = 0;
  }

  async #check({ text, trip }: Draft): Promise<void> {
    const check = await this.#questions.check(text, trip);
    const { draft } = this.#state;
    if (draft.text !== text) return;
    this.#checked = text;
    this.#set({ check, form: check.form === null ? null : changedForm(check.form, draft.waiting) });
  }

  #set(part: Partial<EditorState>): void {
    this.#state = { ...this.#state, ...part };
    if (!this.#stopped) this.#told(this.#state);
  }
}
