/**
 * What a camera wrote about a frame, as read from its file and not yet interpreted. Interpreting (zones, clock
 * errors) is `daemon/core/taken.ts`.
 */

/** Raw facts of one file. Absent means that the file doesn't say, or says nothing usable. */
export interface CameraFacts {
  readonly make?: string;
  readonly model?: string;
  /** Body serial number as text; some bodies write it with leading zeros, kept. */
  readonly serial?: string;
  /** Exif DateTimeOriginal as it stands, `YYYY:MM:DD HH:MM:SS`; may be blank or absurd. */
  readonly dateTimeOriginal?: string;
  /** Exif SubSecTimeOriginal: a decimal fraction, not milliseconds. */
  readonly subSecOriginal?: string;
  /** Exif OffsetTimeOriginal `+HH:MM`; may be blank. */
  readonly offsetOriginal?: string;
  /** A video's own local creation time with offset (QuickTime Keys), `YYYY:MM:DD HH:MM:SS+HH:MM`. */
  readonly creationDate?: string;
  /** A video's header time (ISO 14496-12 mvhd), by the standard UTC, `YYYY:MM:DD HH:MM:SS`. */
  readonly mediaCreateDate?: string;
}

/** When a frame was taken, and how that is known. */
export interface Taken {
  /** ms since the epoch, corrected by the profile. */
  readonly instant: number;
  /** Local civil time in the trip's zone, `YYYY-MM-DDTHH:mm:ss.SSS`. */
  readonly local: string;
  /** The shooting day. */
  readonly day: string;
  /**
   * What it rests on: an offset the camera wrote, the zone the profile gives the body, the trip's zone by default,
   * a video header read as UTC, or only the file's own time.
   */
  readonly basis: "camera-offset" | "body-zone" | "trip-zone" | "video-utc" | "file-time";
  /** The camera's own words, for identity and for people; "" when there were none. */
  readonly camera: string;
}
