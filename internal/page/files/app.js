// The page's beginning: what it is made of is put together here.
import { byId, complain } from "./dom.js";
import { reader, helm } from "./engine.js";
import { startShell } from "./shell.js";
import { startSettings, recheckSettings } from "./settings.js";
import { startPlace } from "./place.js";
import { startPicture } from "./picture.js";
import { startKept } from "./kept.js";
import { startRead } from "./read.js";
import { startSteer } from "./steer.js";
import { startInstalled, showVersion } from "./installed.js";

const stillLoading = "The program is still being loaded, for which the page needs the network once. If this stays, load the page anew.";

async function begin() {
  await startSettings();
  await startPlace();
  startPicture();
  startKept();
  startRead();
  startSteer();
  startInstalled();
  await startShell();
  document.documentElement.dataset.ready = "page";
  if (!globalThis.DecompressionStream) {
    complain("This browser is too old for the page: bring it up to date. It needs what browsers have had since 2023.");
    return;
  }
  const loading = setTimeout(complain, 30000, stillLoading);
  const { answer } = await helm.ask("version", {});
  clearTimeout(loading);
  if (byId("trouble-text").textContent === stillLoading) complain("");
  if (answer.error) {
    complain("The page cannot compute: " + answer.error.message + ". " + answer.error.hint);
    return;
  }
  showVersion(answer.version + (answer.commit ? " (" + answer.commit + ")" : ""));
  await recheckSettings();
  document.documentElement.dataset.ready = "all";
  reader.start().catch(() => {}); // so that the first photo need not wait
}

begin().catch((error) => complain("The page could not start: " + error.message));
