/**
 * What a file is by its extension, as cameras use extensions. Data and one lookup; content is never looked at here,
 * and nothing is lost by a wrong guess: what isn't known is kept all the same, only not as a frame.
 */

/**
 * `raw`, `picture`, `video`: what a frame is made of. `memo`: sound that belongs to a frame or stands alone.
 * `sidecar`, `thumbnail`: only ever belong to something else. `other`: anything.
 */
export type FileKind = "raw" | "picture" | "video" | "memo" | "sidecar" | "thumbnail" | "other";

/**
 * Extensions in lower case, without their dot. Common practice, no single source; THM, JPG and WAV from DCF
 * (CIPA DC-009), XMP from the XMP Specification part 3.
 */
export const extensions: { readonly [K in Exclude<FileKind, "other">]: readonly string[] } = {
  raw: [
    ..."3fr ari arw bay cap cr2 cr3 crw dcr dcs dng erf fff gpr iiq k25 kdc mdc mef mos mrw".split(" "),
    ..."nef nrw orf ori pef ptx pxn raf raw rw2 rwl rwz sr2 srf srw sti x3f".split(" "),
  ],
  picture: "jpg jpeg jpe heic heif hif avif jxl tif tiff png gif bmp webp mpo insp".split(" "),
  video: "mov mp4 m4v avi mts m2ts m2t mpg mpeg mod tod 3gp 3g2 mkv mxf braw r3d nev crm insv 360".split(" "),
  memo: "wav m4a aac mp3 amr".split(" "),
  sidecar: ["xmp"],
  thumbnail: ["thm"],
};

/** @param extension with or without its dot, in any case. */
export function kindOfFile(extension: string): FileKind {
  return kinds.get(extension.replace(/^\./, "").toLowerCase()) ?? "other";
}

const kinds: ReadonlyMap<string, FileKind> = new Map(
  (Object.keys(extensions) as (keyof typeof extensions)[]).flatMap((kind) =>
    extensions[kind].map((extension): [string, FileKind] => [extension, kind]),
  ),
);
