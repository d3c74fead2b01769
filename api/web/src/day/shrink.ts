// Photos made small enough for a queue on a phone: at most 1600 points along the longer side, as JPEG.

export const LONGEST = 1600;

/** Return the size of a picture of `width` by `height` once it is at most LONGEST along its longer side. */
export function smaller(width: number, height: number): { width: number; height: number } {
  const scale = Math.min(1, LONGEST / Math.max(width, height));
  return { width: Math.max(1, Math.round(width * scale)), height: Math.max(1, Math.round(height * scale)) };
}

/** Return the photo made small and turned upright, without what the camera adds; throws where it is no picture. */
export async function shrink(file: Blob): Promise<Blob> {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const { width, height } = smaller(picture.width, picture.height);
  const canvas = document.createElement("canvas");
  canvas.width = width;
  canvas.height = height;
  const pen = canvas.getContext("2d");
  if (pen === null) throw new Error("no room to draw on");
  pen.drawImage(picture, 0, 0, width, height);
  picture.close();
  const made = await new Promise<Blob | null>((resolve) => canvas.toBlob(resolve, "image/jpeg", 0.85));
  if (made === null) throw new Error("the picture cannot be written");
  return made;
}
