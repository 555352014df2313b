// A photo is made small on the tablet, and named by its content.

const LONGEST_SIDE = 1600;
const QUALITY = 0.8;

/**
 * @param {Blob} file as the camera gave it
 * @returns {Promise<{sha256: string, blob: Blob}>} JPEG
 * @throws {Error} where the browser cannot read it
 */
export async function reduced(file) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const scale = Math.min(1, LONGEST_SIDE / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = [Math.round(picture.width * scale), Math.round(picture.height * scale)];
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  const blob = await new Promise((done, fail) =>
    canvas.toBlob((made) => (made ? done(made) : fail(new Error("no picture"))), "image/jpeg", QUALITY));
  return { sha256: await sha256(blob), blob };
}

/** @param {Blob} blob */
async function sha256(blob) {
  const digest = await crypto.subtle.digest("SHA-256", await blob.arrayBuffer());
  return [...new Uint8Array(digest)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}
