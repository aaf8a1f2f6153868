/**
 * A card with a part that can't be read any more: the image ends under the loop device, and the kernel answers EIO to
 * every read beyond it. What can be read is copied and verified; what can't is named, and the card is to be kept.
 */

import { readFileSync, truncateSync } from "node:fs";
import { join } from "node:path";
import { afterEach, expect, test } from "vitest";
import { Computer, plainCard } from "../support/computer.ts";
import { filesBelow, sha256Below, xxhsumAgrees } from "../support/generalTools.ts";
import { canUseLoopVolumes, whyNoLoopVolumes } from "../support/loopVolume.ts";

const needs = `(${whyNoLoopVolumes})`;
const onMedia = test.skipIf(!canUseLoopVolumes());

let computer: Computer;
afterEach(async () => computer.end());

const lost = ["DCIM/100ALDIN/ALD_0011.PNG", "DCIM/100ALDIN/ALD_0012.PNG"];

onMedia(
  `a card with sectors that can't be read: the rest is on both drives, the lost files are named ${needs}`,
  async () => {
    computer = new Computer();
    computer.volume("Blue", "ext4", 64_000_000);
    computer.volume("Slate", "ext4", 64_000_000);
    await computer.start();
    await computer.introduce("Blue", "Slate");
    await computer.stop();
    let firstLost = Buffer.alloc(0);
    const card = computer.card(64_000_000, (folder) => {
      plainCard(folder, { seed: 6, files: 12, bytesEach: 2_000_000 });
      firstLost = readFileSync(join(folder, lost[0] ?? ""));
    });
    card.mount();
    const onCard = sha256Below(card.at);
    card.unmount();

    // Files were written one after another, so the image holds them in that order; it ends within the last but one.
    const cut = readFileSync(card.image).indexOf(firstLost.subarray(0, 65_536)) + 1_000_000;
    expect(cut).toBeGreaterThan(1_000_000);
    card.mount(computer.at("CARD"));
    truncateSync(card.image, cut - (cut % 4096));
    for (const path of lost)
      expect(() => readFileSync(join(card.at, path)), "the medium really fails").toThrow(/EIO/);
    await computer.start();
    await computer.settled();

    const wanted = [...onCard].filter(([path]) => !lost.includes(path)).map(([, sum]) => sum);
    for (const drive of ["Blue", "Slate"]) {
      const held = new Map(sha256Below(computer.trip(drive)));
      held.delete("checksums.xxh64");
      // Outside sources: sha256sum of the card while it was well, and of the drives; xxhsum.
      expect([...held.values()].sort(), drive).toEqual(wanted.sort());
      expect(xxhsumAgrees(computer.trip(drive)), drive).toBe(10);
      expect(filesBelow(join(computer.at(drive), ".scrubjay/incoming"))).toEqual([]);
    }
    const { alerts } = await computer.status();
    expect(alerts.map((alert) => alert.code)).toEqual(["read-error"]);
    const [alert] = alerts;
    expect(alert?.happened).toBe(
      `Card 1 can't be read in 2 places: ${lost.join(" and ")} (the medium answered with an error).`,
    );
    expect(alert?.safe).toBe("Everything else on it is copied. The card was only read.");
    expect(alert?.next).toMatch(/^Keep Card 1\./);
    const { clear, lacking } = await computer.cardStatus();
    expect(clear).toBe(false);
    expect(lacking.map(({ path, verified }) => ({ path, verified }))).toEqual(
      lost.map((path) => ({ path, verified: 0 })),
    );
    // Not yet: nothing was stopped by it (74), and nothing that was copied is damaged (65).
    const exits = await computer.exits();
    expect({ status: exits.status, cards: exits.cards }).toEqual({ status: 1, cards: 1 });
  },
);
