/*
 * Keeps the station's pages on the tablet, so that they open without a network.
 *
 * The server puts two lines in front: BUILD, the build that this worker belongs to, and FILES, the addresses that
 * its pages need. A page is kept only where the server marked it with this very build. So nobody's own page,
 * no sign-in and no stranger's answer is ever kept, and a kept page never meets files of another build.
 */
/* global BUILD, FILES */

const KEPT_FILES = `files ${BUILD}`;
const KEPT_PAGES = `pages ${BUILD}`;
const MARK = "X-Quality-Log";
const OURS = "X-Log";
const KEPT_AT = "X-Kept-At";

/** Where the icon on the home screen leads; kept as the way to the list of panels that was open last. */
const HOME = "/station";
/** Where the icon of an enrolled tablet starts for ever, since it was put on the home screen there. */
const ENROL = "/tablet/enrol";
const LIST = /^\/station\/[^/]+$/;

const SECOND = 1000;
const MINUTE = 60 * SECOND;
const DAY = 24 * 60 * MINUTE;

const PATIENCE = 2.5 * SECOND;
const GIVE_UP = 20 * SECOND;
const FRESH = 10 * MINUTE;
/** Pages in the languages that the tablet does not show at present may be older. */
const FRESH_ELSEWHERE = 60 * MINUTE;
const UNLISTED = 3 * DAY;
const AT_ONCE = 3;

self.addEventListener("install", (event) => event.waitUntil(prepare()));
self.addEventListener("activate", (event) => event.waitUntil(takeOver()));

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) {
    return;
  }
  if (request.mode === "navigate") {
    event.respondWith(openPage(event));
  } else if (url.pathname.startsWith("/static/") || FILES.includes(url.pathname + url.search)) {
    event.respondWith(openFile(request));
  }
});

let keeping = Promise.resolve();

self.addEventListener("message", (event) => {
  if (event.data.kind === "apply") {
    self.skipWaiting();
  } else if (event.data.kind === "keep") {
    keeping = keeping.then(() => keepAll(event.data)).catch(() => undefined);
    // A page that was on its way while this worker took over is not in its care yet.
    event.waitUntil(Promise.all([keeping, self.clients.claim().catch(() => undefined)]));
  }
});

/** All files, and anew the pages that the build before kept: taking over must not leave the tablet empty. */
async function prepare() {
  const answers = await Promise.all(FILES.map(fetchFile));
  const files = await caches.open(KEPT_FILES);
  await Promise.all(FILES.map((address, at) => files.put(address, answers[at])));
  await eachOf(await keptBefore(), fetchPage);
}

async function takeOver() {
  const names = (await caches.keys()).filter(isOurs);
  await Promise.all(names.filter((name) => ![KEPT_FILES, KEPT_PAGES].includes(name)).map((n) => caches.delete(n)));
  await self.clients.claim();
}

/** The network first; the kept page if that is slow, silent, failing, or answered by somebody else. */
async function openPage(event) {
  const asked = fetch(event.request).catch(() => null);
  event.waitUntil(asked.then((answer) => answer && keepVisited(event.request.url, answer.clone())));
  const kept = await keptPage(new URL(event.request.url));
  const answer = await (kept ? Promise.race([asked, after(PATIENCE)]) : asked);
  if (answer === null || answer.status >= 500 || (answer.ok && answer.headers.get(OURS) !== "qc")) {
    return kept ?? answer ?? offlinePage(new URL(event.request.url));
  }
  return answer;
}

async function openFile(request) {
  return (await caches.match(request, { ignoreVary: true })) ?? fetch(request);
}

async function keptPage(url) {
  const pages = await caches.open(KEPT_PAGES);
  const match = (address, how) => pages.match(address, { ignoreVary: true, ...how });
  const home = isHome(url) ? await match(HOME) : undefined;
  const exact = home ?? (await match(url.href));
  // An address without a language, as on a printed label, opens in whichever language is kept.
  return exact ?? (url.searchParams.has("language") ? undefined : match(url.href, { ignoreSearch: true }));
}

async function offlinePage(url) {
  const language = url.searchParams.get("language") ?? self.navigator.language.split("-")[0];
  const files = await caches.open(KEPT_FILES);
  return (await files.match(`/offline?language=${language}`)) ?? files.match(FILES.find((f) => f.startsWith("/offline")));
}

async function keepVisited(address, answer) {
  if (!isMarked(answer)) {
    return;
  }
  await keepPage(address, answer);
  await leadHome(address);
}

async function leadHome(address) {
  if (LIST.test(new URL(address).pathname)) {
    await (await caches.open(KEPT_PAGES)).put(HOME, wayTo(address));
  }
}

async function keepPage(address, answer) {
  const pages = await caches.open(KEPT_PAGES);
  if (answer.redirected) {
    await pages.put(address, wayTo(answer.url));
  }
  const headers = new Headers(answer.headers);
  // The body is what came of it, unpacked.
  headers.delete("Content-Encoding");
  headers.delete("Content-Length");
  headers.set(KEPT_AT, Date.now());
  await pages.put(answer.redirected ? answer.url : address, new Response(await answer.blob(), { headers }));
}

/**
 * Fetches what is listed and not fresh, lets go of what has not been listed for long, and tells how far it is. The
 * page that asks counts as listed: a worker that is new did not see it come.
 */
async function keepAll({ addresses, here, language }) {
  const pages = await caches.open(KEPT_PAGES);
  const wanted = [...new Set([here, ...addresses].map((address) => new URL(address, self.location).href))];
  const ages = await agesIn(pages);
  const isOld = (address) => ages.get(address) > UNLISTED && !wanted.includes(address);
  await Promise.all([...ages.keys()].filter(isOld).map((address) => pages.delete(address)));
  const isFresh = (address) => ages.get(address) < (isElsewhere(address, language) ? FRESH_ELSEWHERE : FRESH);
  try {
    await eachOf(wanted.filter((address) => !isFresh(address)), async (address) => {
      await fetchPage(address);
      if (address === here && (await pages.match(here, { ignoreVary: true }))) {
        await leadHome(here);
      }
      await tell(pages, addresses, false);
    });
  } finally {
    await tell(pages, addresses, true);
  }
}

/** Tells all pages how many of the listed ones are kept, each counted once, in the language listed first. */
async function tell(pages, addresses, isDone) {
  const listed = new Map();
  for (const url of addresses.map((address) => new URL(address, self.location))) {
    listed.set(url.pathname, listed.get(url.pathname) ?? url.href);
  }
  const kept = new Set((await pages.keys()).map((request) => request.url));
  const count = [...listed.values()].filter((address) => kept.has(address)).length;
  for (const page of await self.clients.matchAll({ includeUncontrolled: true })) {
    page.postMessage({ kind: "kept", kept: count, wanted: listed.size, isDone });
  }
}

async function fetchFile(address) {
  // As nobody: what is kept for all must not be made for one.
  const answer = await fetch(address, { credentials: "omit", cache: "no-cache" });
  const isPage = answer.headers.get("Content-Type")?.startsWith("text/html");
  if (!answer.ok || answer.redirected || (isPage && !address.startsWith("/offline"))) {
    throw new Error(`${address} did not come`);
  }
  return answer;
}

/** Throws where there is no network or nobody is signed in: the next page would fare no better. */
async function fetchPage(address) {
  const signal = AbortSignal.timeout(GIVE_UP);
  const answer = await fetch(address, { cache: "no-store", priority: "low", signal });
  if (new URL(answer.url).pathname === "/sign-in") {
    throw new Error("nobody is signed in");
  }
  if (isMarked(answer)) {
    await keepPage(address, answer);
  }
}

async function keptBefore() {
  const names = (await caches.keys()).filter((name) => name.startsWith("pages ") && name !== KEPT_PAGES);
  const requests = await Promise.all(names.map(async (name) => (await caches.open(name)).keys()));
  return [...new Set(requests.flat().map((request) => request.url))];
}

/** How long ago, in milliseconds, each page was kept. */
async function agesIn(pages) {
  const ages = new Map();
  for (const request of await pages.keys()) {
    const page = await pages.match(request, { ignoreVary: true });
    ages.set(request.url, Date.now() - Number(page?.headers.get(KEPT_AT)));
  }
  return ages;
}

/** Works on a few at once; throws the first failure when all that can be done is done. */
async function eachOf(addresses, work) {
  const left = [...addresses];
  const one = async () => {
    while (left.length > 0) {
      await work(left.shift());
    }
  };
  const ended = await Promise.allSettled(Array.from({ length: AT_ONCE }, one));
  const failed = ended.find(({ status }) => status === "rejected");
  if (failed !== undefined) {
    throw failed.reason;
  }
}

function wayTo(address) {
  const headers = { Location: new URL(address, self.location).href, [KEPT_AT]: String(Date.now()) };
  return new Response(null, { status: 302, headers });
}

/** Of this build: a page that needs other files is shown, but not kept. */
const isMarked = (answer) => answer.ok && answer.headers.get(MARK) === BUILD;
const isOurs = (name) => name.startsWith("files ") || name.startsWith("pages ");
const isHome = (url) =>
  url.pathname === ENROL ||
  (["/", HOME].includes(url.pathname) && [...url.searchParams.keys()].every((key) => key === "language"));
const isElsewhere = (address, language) => ![null, language].includes(new URL(address).searchParams.get("language"));
const after = (milliseconds) => new Promise((resolve) => setTimeout(resolve, milliseconds, null));
