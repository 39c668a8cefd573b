// A photo's file as the browser hands it over, made ready for the reader: as the camera wrote
// it wherever that can be.
import { make } from "./dom.js";
import { reader } from "./engine.js";

const mostFileBytes = 200e6; // beyond it no telephone holds file and picture both

const refusal = (code, message, todo) => ({ refused: { code, message, todo } });

// asJPEG lets the browser decode a picture, and shrink it to so many pixels.
async function asJPEG(file, mostPixels) {
  let bitmap = await createImageBitmap(file);
  const shrunk_by = Math.max(1, Math.sqrt(bitmap.width * bitmap.height / mostPixels));
  if (shrunk_by > 1) {
    const width = Math.floor(bitmap.width / shrunk_by), height = Math.floor(bitmap.height / shrunk_by);
    bitmap.close();
    bitmap = await createImageBitmap(file, { resizeWidth: width, resizeHeight: height, resizeQuality: "high" });
  }
  const canvas = make("canvas", { width: bitmap.width, height: bitmap.height });
  canvas.getContext("2d").drawImage(bitmap, 0, 0);
  bitmap.close();
  const blob = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", 0.95));
  if (!blob) throw new Error("no room for the picture");
  return { bytes: await blob.arrayBuffer(), shrunk_by };
}

// photoBytes resolves to {bytes, shrunk_by, original, clock}, with {copy, sha256} where it is a copy, to {refused}, or to {error} of the
// computing part, which looks at the file first.
export async function photoBytes(file) {
  if (file.size === 0) return refusal("photo_empty", "the file has no bytes", "Choose it again; where it lies in the net, load it to the device first.");
  if (file.size > mostFileBytes) return refusal("photo_too_large", "the file has " + Math.round(file.size / 1e6) + " MB, more than the page reads", "Choose a smaller picture: 12 megapixels are plenty.");
  let bytes;
  try {
    bytes = await file.arrayBuffer();
  } catch {
    return refusal("photo_unreadable", "the browser cannot read the file", "Choose it again.");
  }
  const { answer: known } = await reader.ask("facts", { name: file.name }, bytes.slice(0));
  if (known.error) return { error: known.error };
  if (!known.copy) return { bytes, shrunk_by: 1, original: null, clock: known.clock_local };
  bytes = null;
  try {
    // Half of what could be held: the copy is held beside the picture.
    // The log knows the photo by the original.
    return { ...await asJPEG(file, known.most_pixels / 2), original: known.original, clock: known.clock_local, copy: known.copy, sha256: known.photo_sha256 };
  } catch {
    if (known.copy === "heic") return refusal("heic_not_decoded", "this is a HEIC picture, which this browser does not decode", "Set the camera to JPEG (most compatible), or read the photo by shadowread on a laptop.");
    return refusal("photo_too_large", "the picture has " + Math.round(known.width_px * known.height_px / 1e6) + " megapixels, and this browser could not shrink it", "Set the camera to 12 megapixels.");
  }
}

// changedText says what the browser did to a picture before it was read.
export function changedText({ copy, shrunk_by }) {
  if (shrunk_by > 1) return "was too large to be read as it is: the browser shrank it to 1/" + shrunk_by.toFixed(1) + " of its width";
  return copy ? "is no JPEG: the browser made one of it" : "";
}
