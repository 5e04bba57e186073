// A photograph from the camera or a file: really a picture, not larger than the yard keeps, with its fingerprint.
import { say } from "./words.js";

const LONGEST_PX = [4096, 3072, 2560, 2048, 1600, 1280];

export class NotAPhoto extends Error {}

// A picture the yard takes is kept byte by byte. A larger one is made smaller here, and the result says so.
export async function photoFrom(file, mostMb) {
  const start = new Uint8Array(await file.slice(0, 5).arrayBuffer());
  if (String.fromCharCode(...start) === "%PDF-") throw new NotAPhoto(say("close.photo.pdf"));
  let image;
  try {
    image = await createImageBitmap(file);
  } catch {
    throw new NotAPhoto(say("close.photo.unreadable"));
  }
  const most = mostMb * 1e6;
  const taken = kindOf(start);
  const blob = taken && file.size <= most ? new Blob([file], { type: taken }) : await smaller(image, most);
  image.close();
  if (!blob) throw new NotAPhoto(say("close.photo.large", { size: (file.size / 1e6).toFixed(1), most: mostMb }));
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", await blob.arrayBuffer()));
  const sha256 = Array.from(digest, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return { blob, sha256, name: nameOf(file.name, blob.type), wasBytes: file.size, made: blob.size !== file.size };
}

function kindOf(start) {
  if (start[0] === 0xff && start[1] === 0xd8) return "image/jpeg";
  if (start[0] === 0x89 && start[1] === 0x50) return "image/png";
  return String.fromCharCode(...start.slice(0, 4)) === "RIFF" ? "image/webp" : null;
}

async function smaller(image, most) {
  for (const longest of LONGEST_PX) {
    const scale = Math.min(1, longest / Math.max(image.width, image.height));
    const canvas = new OffscreenCanvas(Math.round(image.width * scale), Math.round(image.height * scale));
    canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
    for (const quality of [0.9, 0.8]) {
      const blob = await canvas.convertToBlob({ type: "image/jpeg", quality });
      if (blob.size <= most) return blob;
    }
  }
  return null;
}

function nameOf(name, type) {
  const plain = name.replace(/\.[^.]*$/, "").replace(/[^A-Za-z0-9 ._+-]/g, "").slice(0, 60).trim() || "photo";
  return `${plain}.${type === "image/png" ? "png" : type === "image/webp" ? "webp" : "jpg"}`;
}
