/**
 * Where things stand on a drive. Everything of ours is below `.scrubjay`, but for the trip's folder and the checksum
 * list in it. Every path that is written on a drive comes from here.
 */

import { extensionOf, type RelativePath, type TripId } from "../../shared/identity.ts";

export const incomingFolder = ".scrubjay/incoming" as RelativePath;
export const identityFile = ".scrubjay/drive.json" as RelativePath;

/** Which archive a folder is; beside it everything stands as on a drive. */
export const archiveFile = ".scrubjay/archive.json" as RelativePath;

export const tripsFolder = ".scrubjay/trips" as RelativePath;
export const recordFolder = (trip: TripId): RelativePath => `${tripsFolder}/${trip}` as RelativePath;
export const journalFile = (trip: TripId): RelativePath =>
  `${recordFolder(trip)}/journal.jsonl` as RelativePath;
export const profileFile = (trip: TripId): RelativePath =>
  `${recordFolder(trip)}/profile.yaml` as RelativePath;

/** Where a damaged file is set aside, below the drive's root, when a good copy takes its name. */
export const asideFile = (trip: TripId, path: RelativePath): RelativePath =>
  `${recordFolder(trip)}/aside/${path}` as RelativePath;

/** Earlier versions of the trip's work files. */
export const earlierFolder = (trip: TripId): RelativePath => `${recordFolder(trip)}/earlier` as RelativePath;

/** Where an earlier version of a work file goes, below the drive's root. @param version tells versions apart */
export const earlierFile = (trip: TripId, path: RelativePath, version: string): RelativePath =>
  `${recordFolder(trip)}/earlier/${path}/${version}${extensionOf(path)}` as RelativePath;

/** The checksum list inside the trip's folder, for general tools. */
export const checksumFile = (tripFolder: string): RelativePath =>
  `${tripFolder}/checksums.xxh64` as RelativePath;

/** Unfinished work under a name that says nothing and can't clash. */
export const unfinishedFile = (random: string): RelativePath =>
  `${incomingFolder}/${random}.part` as RelativePath;
