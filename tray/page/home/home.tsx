/**
 * Bringing a trip home: where home is, which drives are in, the merge with how far it is, and its receipt.
 *
 * Invariant: that a drive may be reused stands here only where the receipt says so. Not its job: judging anything; all
 * of it is in the daemon's documents.
 */

import { useId, useState } from "preact/hooks";
import type { StatusJson, WorkJson } from "../../../shared/api.ts";
import { percentOf, workFacts } from "../../../shared/boardTable.ts";
import type { HomeStateJson } from "../../../shared/homeApi.ts";
import { shortMoment } from "../../../shared/moments.ts";
import { printable } from "../../../shared/text.ts";
import { Act } from "../act.tsx";
import { addressOf } from "../address.ts";
import { change } from "../daemon.ts";
import { Seed } from "../seed.tsx";
import { Words } from "../words.tsx";
import { Receipt } from "./receipt.tsx";
import { type Home, useHome } from "./useHome.ts";

/** characters. A folder is shown whole as long as systems take it (Linux PATH_MAX). */
const folderLongest = 4_096;

export function HomeScreen({ status }: { readonly status: StatusJson }) {
  const home = useHome(status);
  const { state, refusal } = home;
  if (state === undefined)
    return refusal === undefined ? (
      <>
        <h1>Home</h1>
        <p class="small">Asking the daemon …</p>
      </>
    ) : (
      <>
        <h1>Home</h1>
        <p class="advice" role="alert">
          <Words text={`${refusal.message} ${refusal.next}`} />
        </p>
      </>
    );
  if (state.trip === null)
    return (
      <>
        <h1>There is no trip to bring home.</h1>
        <p class="advice">
          <a href={addressOf("trips", "new")}>Describe one</a>, and it comes home from here.
        </p>
      </>
    );
  return (
    <div class="report home">
      <Head state={state} status={status} />
      <Wishes home={home} state={state} />
      <Places state={state} status={status} />
      {state.running || state.receipt === null ? null : (
        <Receipt receipt={state.receipt} changed={home.look} />
      )}
    </div>
  );
}

/** The largest text: whether everything is home, as the receipt says it, or what is being done. */
function Head({ state, status }: { readonly state: HomeStateJson; readonly status: StatusJson }) {
  const name = printable(state.trip?.name ?? "", 60);
  const { receipt } = state;
  const works = status.work.filter(({ kind }) => kind === "homecoming");
  return (
    <>
      <div role="status">
        <h1>
          {state.running ? (
            `${name} is coming home …`
          ) : receipt === null ? (
            `${name} isn't home yet.`
          ) : (
            <Words text={receipt.headline} />
          )}
        </h1>
      </div>
      {state.running ? (
        works.map((work) => <Progress key={work.from} work={work} />)
      ) : receipt === null ? (
        <p class="advice">
          {state.archive === null
            ? "The profile doesn't say where home is."
            : "Plug in the drives that hold it. What they hold together is merged into the archive and read back there."}
        </p>
      ) : (
        <p class="advice">
          {receipt.rehearsal ? "This was a rehearsal: nothing was written. " : ""}
          <Words text={receipt.advice} />
        </p>
      )}
      {!state.running && receipt !== null && receipt.stopped !== "" ? (
        <p class="owed">
          <Seed sign="owed" />
          <Words text={receipt.stopped} />
        </p>
      ) : null}
    </>
  );
}

function Progress({ work }: { readonly work: WorkJson }) {
  const what = `Bringing home from ${printable(work.from)} to ${work.to.map((each) => printable(each, folderLongest)).join(", ")}`;
  return (
    <p class="work">
      {what}: {workFacts(work).join(", ")}
      <progress aria-label={what} max={100} value={percentOf(work)} />
    </p>
  );
}

/** What can be done now; the rest of the screen only tells. */
function Wishes({ home, state }: { readonly home: Home; readonly state: HomeStateJson }) {
  const [history, setHistory] = useState(false);
  const [elsewhere, setElsewhere] = useState("");
  const box = useId();
  const folder = useId();
  if (state.running)
    return (
      <p class="acts">
        <Act
          name="Stop"
          run={async () => {
            await change("/v1/homecoming/stop", {});
            home.look();
          }}
        />
        <span class="small">What is merged by then stays, and the next time carries on from there.</span>
      </p>
    );
  const begin = (rehearsal: boolean) => async () => {
    const wish = { trip: state.trip?.id ?? "", rehearsal, history };
    const to = elsewhere.trim() === "" ? {} : { to: elsewhere };
    home.set(await change<HomeStateJson>("/v1/homecoming", { ...wish, ...to }));
  };
  const { receipt } = state;
  const hasPlace = state.archive !== null || elsewhere.trim() !== "";
  const isHome = receipt?.complete === true && !receipt.rehearsal;
  return (
    <>
      <p class="acts">
        {hasPlace ? (
          <>
            <Act
              name={isHome ? "Bring the trip home again" : "Bring the trip home"}
              main={!isHome}
              run={begin(false)}
            />
            <Act name="Rehearse" label="Rehearse: look at everything, write nothing" run={begin(true)} />
          </>
        ) : null}
        {receipt === null ? null : (
          <button type="button" onClick={() => print()}>
            Print this receipt
          </button>
        )}
      </p>
      <p class="acts choice">
        <input
          id={box}
          type="checkbox"
          checked={history}
          onChange={(event) => setHistory(event.currentTarget.checked)}
        />
        <label for={box}>Take earlier versions of work files along</label>
      </p>
      <div class="field elsewhere">
        <label for={folder}>Into another folder, this once</label>
        <input
          id={folder}
          class="code"
          type="text"
          autocomplete="off"
          spellcheck={false}
          dir="auto"
          placeholder={state.archive === null ? "/archive" : undefined}
          value={elsewhere}
          onInput={(event) => setElsewhere(event.currentTarget.value)}
        />
        <span class="small">
          {state.archive === null ? "Where the archive is." : "Empty: where home is, as described."}
        </span>
      </div>
    </>
  );
}

/** From where to where. */
function Places({ state, status }: { readonly state: HomeStateJson; readonly status: StatusJson }) {
  const drives = status.drives.filter((drive) => drive.role !== null);
  return (
    <dl class="places">
      <div>
        <dt>Home is</dt>
        <dd>{state.archive === null ? <NoArchive /> : <Archive archive={state.archive} />}</dd>
      </div>
      <div>
        <dt>Drives of the trip</dt>
        <dd>
          {drives.length === 0 ? "none is known yet" : null}
          {drives.map(({ name, present, lastSeen }) => {
            const since = lastSeen === null ? "" : ` since ${shortMoment(lastSeen, status.at)}`;
            return (
              <span key={name} class={present ? "cell" : "cell away"}>
                {present ? null : <Seed sign="away" />}
                <span>
                  {printable(name, 40)} {present ? "is in" : `isn't here${since}`}
                </span>
              </span>
            );
          })}
        </dd>
      </div>
    </dl>
  );
}

function Archive({ archive }: { readonly archive: NonNullable<HomeStateJson["archive"]> }) {
  return (
    <>
      <code>{printable(archive.folder, folderLongest)}</code>, below it as{" "}
      <code>{printable(archive.tree, folderLongest)}</code>
      {archive.also.map((folder) => (
        <span key={folder} class="line">
          and a second copy in <code>{printable(folder, folderLongest)}</code>
        </span>
      ))}
    </>
  );
}

function NoArchive() {
  return (
    <>
      not said yet. Write into the trip's profile, with a folder of yours:{" "}
      <code>{'archive: { folder: /archive, tree: "{taken:yyyy}/{trip}" }'}</code>{" "}
      <span class="acts">
        <a href={addressOf("trips")}>To the trips</a>
      </span>
    </>
  );
}
