/**
 * Every bound and default, with its unit and the reason for its value. Data only.
 */

export const limits = {
  /** bytes. One block of streaming. 4 MiB reached the medium's speed with three in flight (two-core machine). */
  blockBytes: 4 * 1024 * 1024,
  /** blocks. Memory for streaming is blocks × blockBytes whatever the card's size: 6 × 4 MiB = 24 MiB. */
  streamBlocks: 6,
  /** blocks. For reading back, shared by all drives: 2 for each of three drives. */
  verifyBlocks: 6,
  /** frames. Written but not yet published; bounds open files and what a power cut makes us write again. */
  framesInFlight: 6,
  /** files. Read back at once on one drive: one is read while the next is being flushed. */
  verifyFilesPerDrive: 2,
  /** tries. Readings of one block of a card before the file is given up for this visit. */
  readTries: 3,
  /** listings. A card that changes under the work is listed anew so often in one visit, then left as it was listed. */
  resurveysMost: 20,
  /** tries. Copies of one file to one drive in one visit that read back differently before it is said and left. */
  copyTries: 2,
  /** share of the drive kept free: a full file system is slow, and an editor must still save. */
  reserveShare: 0.01,
  /** bytes. The reserve is at least this (the record needs room) ... */
  reserveBytesMin: 4_000_000,
  /** ... and at most this. */
  reserveBytesMax: 2_000_000_000,
  /** bytes. First and last part of a file in its quick fingerprint. */
  fingerprintEndBytes: 64 * 1024,
  /** files. Metadata is asked for so many files at once: keeps both processes busy and answers soon. */
  metadataBatch: 64,
  /** processes. Readers of metadata: one a core of the smallest computer meant. */
  metadataProcesses: 2,
  /** ms. A file whose metadata takes longer is hostile or damaged. */
  metadataTimeout: 20_000,
  /** ms. A copy that was read longer ago is read again when nothing else is to do: each once a week on the road. */
  scrubAfter: 7 * 24 * 3_600_000,
  /** bytes a second. When nothing else is to do: a third of a slow drive's speed, so that an editor doesn't notice. */
  scrubBytesPerSecond: 40_000_000,
  /** files. So many are written down as read again in one line of the journals; what a power cut makes us read again. */
  scrubBatch: 200,
  /** ms. What is missing is said again after this at the earliest: twice a day at most. */
  remindEvery: 12 * 3_600_000,
  /** ms. How often it is looked whether something is to be said again. */
  remindLookEvery: 600_000,
  /** notices. So many are shown in a row; what comes after that comes together. */
  noticesAtOnce: 4,
  /** ms. After which one more is shown: a card reader with a loose contact must not flood the desktop. */
  noticesEvery: 60_000,
  /** events. So many lines of what happened are told at once. */
  eventsMost: 200,
  /** files. What is named one by one in answers; the rest is counted. */
  namedMost: 1_000,
  /** ms. Looking at the volumes without any hint: the safety net under lost events. */
  pollEvery: 5_000,
  /** ms. Hints that come closer together are one. */
  hintSettle: 150,
  /** ms. A drive that failed is looked at once more before it is blamed: after a pull the mount stays up to a second (udisks 2.9). */
  pulledSettle: 1_500,
  /** ms. A drive that failed to be written is tried again after this while it stays plugged in. */
  driveRetryAfter: 60_000,
  /** bytes. Longest path below a trip's folder, in UTF-8: leaves room for mount points under PATH_MAX 4096 and Windows' 260 is warned about. */
  pathBytesMax: 1000,
  /** bytes. Longest part of a path in UTF-8: ext4 takes 255 bytes, exFAT 255 UTF-16 units; the smaller holds on both. */
  nameBytesMax: 255,
  /** folders. Deeper than this on a card is a loop or an attack. */
  folderDepthMax: 64,
  /** bytes. A drive.json or profile larger than this is not ours. */
  ownFileBytesMax: 1_000_000,
  /** bytes. A journal larger than this is refused rather than read into memory; a trip of 50,000 frames writes about 100 MB. */
  journalBytesMax: 512_000_000,
  /** pixels. Longest side of a picture in the contact sheet: sharp at twice the size it is shown at. */
  sheetPixels: 320,
  /** pixels. Longest side of a picture by itself: fills a laptop's screen. */
  largePixels: 2048,
  /** bytes. Pictures kept on this computer: 50,000 small ones (about 20 kB each) and 1,500 large ones. */
  pictureCacheBytes: 2_000_000_000,
  /** bytes. A picture inside a file, or a picture file, that is larger isn't decoded: 100 megapixels take about 60 MB. */
  pictureSourceBytesMax: 96_000_000,
  /**
   * pixels. A picture with more isn't decoded: the largest sensors meant have 150 million. Of four bytes each: one that
   * takes more a pixel while it is decoded (16 bits, progressive JPEG) may have fewer. Measured at the bound, decoding
   * takes 700 to 800 MB.
   */
  picturePixelsMax: 160_000_000,
  /** ms. A picture that takes longer to read or to decode is hostile or damaged. */
  pictureTimeout: 20_000,
  /** frames. So many small pictures are made ahead: as many as are kept, so that none pushes another out. */
  picturesAheadMost: 50_000,
  /** frames. So many are asked of the ledger at once when pictures are made ahead. */
  pictureBatch: 500,
  /** bytes. A sidecar that is larger is left alone: an editor's with many masks has a few megabytes. */
  sidecarBytesMax: 16_000_000,
  /** files. So many are written down at once as standing in an archive; what a power cut makes us read again. */
  archiveBatch: 50,
  /** ms. What an archive was found to hold is believed so long by names, sizes and times: a night and a day, however often it is broken off. */
  archiveTrust: 24 * 3_600_000,
  /** ms. A work file is taken when it was left alone for so long: an editor saves a sidecar well within a second. */
  editsQuiet: 3_000,
  /** ms. The work files of a drive are listed again after this at the earliest, however often they are written. */
  editsListEvery: 2_000,
  /** ms. What is written for longer than this without a pause isn't waited for: it is taken when it pauses. */
  editsPatience: 60_000,
  /** ms. Work files are compared so often without any sign of a change: the safety net under lost hints. */
  editsCompareEvery: 600_000,
  /** ms. A page of frames waits so long for sidecars that changed; what isn't read by then comes with the next. */
  ratingsWait: 200,
} as const;

/** The same shape for tests that need a small world. */
export type Limits = { readonly [K in keyof typeof limits]: number };
