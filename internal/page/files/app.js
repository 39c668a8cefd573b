// A bare page for trying the program out.
import { load, start } from "./program.js";

const out = document.getElementById("out");
const module = await load();
const reader = await start(module);
out.textContent = (await reader.call("version", {})).json;
document.getElementById("photo").addEventListener("change", async (event) => {
  const file = event.target.files[0];
  const { json, bytes } = await reader.call("read", {
    settings: { rod_height_mm: 50 }, name: file.name, file_modified_ms: file.lastModified, chosen: "album",
    device_now_ms: Date.now(), device_utc_offset_min: -new Date().getTimezoneOffset(), place: null, overlay: true,
  }, await file.arrayBuffer());
  out.textContent = JSON.stringify(JSON.parse(json).say ?? JSON.parse(json), null, 1);
  document.getElementById("overlay").src = bytes ? URL.createObjectURL(new Blob([bytes], { type: "image/jpeg" })) : "";
});
