/** What every part of the profile's form is given, and how a value is said or left unsaid. */

import type { ProfileFault } from "../../../shared/trip.ts";
import type { ProfileChangeJson, ProfileFormJson } from "../../../shared/tripsApi.ts";

export interface FormPartProps {
  readonly form: ProfileFormJson;
  /** What stands beside the field of this key. */
  readonly faultsAt: (key: string) => readonly ProfileFault[];
  readonly change: (...changes: readonly ProfileChangeJson[]) => void;
}

/** The id of the list of time zones. */
export const zonesList = "zones";

/** A value that may be left out: empty, it isn't said. */
export const optional = (key: string, value: string): ProfileChangeJson => ({
  key,
  value: value === "" ? null : value,
});
