// A sound: decoded here, made WAV of one channel and 16 bits here, sent as that. The recorder takes 20 s.
import { refuseFiles } from "./files.js";

const RATE = 44100, LONGEST = 60, RECORD = 20;

// 16-bit WAV of one channel from samples between −1 and 1.
export const wav = (samples, rate) => {
  const bytes = new DataView(new ArrayBuffer(44 + 2 * samples.length));
  const text = (at, word) => [...word].forEach((c, i) => bytes.setUint8(at + i, c.charCodeAt(0)));
  text(0, "RIFF"); bytes.setUint32(4, 36 + 2 * samples.length, true); text(8, "WAVEfmt ");
  bytes.setUint32(16, 16, true); bytes.setUint16(20, 1, true); bytes.setUint16(22, 1, true);
  bytes.setUint32(24, rate, true); bytes.setUint32(28, 2 * rate, true); bytes.setUint16(32, 2, true); bytes.setUint16(34, 16, true);
  text(36, "data"); bytes.setUint32(40, 2 * samples.length, true);
  for (let i = 0; i < samples.length; i++) bytes.setInt16(44 + 2 * i, Math.round(32767 * Math.max(-1, Math.min(1, samples[i]))), true);
  return new Blob([bytes.buffer], { type: "audio/wav" });
};

// Decode what the browser can, mix its channels into one, cut it to a minute.
export const decoded = async (data) => {
  const found = await new OfflineAudioContext(1, 1, RATE).decodeAudioData(data);
  const count = Math.min(found.length, LONGEST * RATE), mixed = new Float32Array(count);
  for (let c = 0; c < found.numberOfChannels; c++) {
    const one = found.getChannelData(c);
    for (let i = 0; i < count; i++) mixed[i] += one[i] / found.numberOfChannels;
  }
  return { samples: mixed, seconds: count / RATE, cut: found.length > count };
};

export const listen = (form, tell, done) => {
  const said = form.querySelector(".said"), record = form.querySelector(".record"), note = form.querySelector(".microphone");
  let recorded = null, recorder = null;

  const can = window.isSecureContext && navigator.mediaDevices && window.MediaRecorder;
  record.hidden = !can;
  note.hidden = Boolean(can);
  if (!can) note.textContent = "The microphone is open to pages over a secure connection only. Record with another app and choose the file.";

  record.addEventListener("click", async () => {
    if (recorder) return recorder.stop();
    tell(form, "");
    let stream;
    try {
      // No cleaning: it is made for speech, and takes an engine's sound for noise.
      stream = await navigator.mediaDevices.getUserMedia({ audio: { echoCancellation: false, noiseSuppression: false, autoGainControl: false } });
    } catch (why) {
      return tell(form, `The microphone cannot be used: ${why.name}.`, "Allow it for this page, or choose a file.");
    }
    const parts = [], began = performance.now();
    recorder = new MediaRecorder(stream);
    const tick = setInterval(() => { said.textContent = `Recording, ${Math.max(0, RECORD - (performance.now() - began) / 1000).toFixed(0)} s left`; }, 500);
    const end = setTimeout(() => recorder && recorder.stop(), RECORD * 1000);
    recorder.ondataavailable = (e) => parts.push(e.data);
    recorder.onstop = () => {
      clearInterval(tick);
      clearTimeout(end);
      for (const track of stream.getTracks()) track.stop();
      recorder = null;
      recorded = new Blob(parts);
      record.textContent = "Record anew";
      said.textContent = `${Math.min(RECORD, (performance.now() - began) / 1000).toFixed(0)} s recorded, not kept yet.`;
    };
    recorder.start();
    record.textContent = "End now";
  });

  form.addEventListener("submit", async (e) => {
    e.preventDefault();
    tell(form, "");
    const file = form.elements.sound.files[0];
    const source = file || recorded;
    if (recorder || !source) return tell(form, recorder ? "It is still recording." : "No sound yet.", recorder ? "End it first." : "Choose one, or record it.");
    said.textContent = "Decoding …";
    let sound;
    try {
      sound = await decoded(await source.arrayBuffer());
    } catch {
      said.textContent = "";
      refuseFiles(form);
      return tell(form, "This browser cannot decode that file.", "Choose a sound that it can play.");
    }
    const body = new FormData(), name = file ? file.name.replace(/\.[^.]*$/, "") : "recorded";
    body.append("sound", wav(sound.samples, RATE), `${name}.wav`);
    said.textContent = `Sending ${sound.seconds.toFixed(0)} s${sound.cut ? ", the first minute" : ""} …`;
    try {
      const answer = await fetch(`/api/jobs/${form.dataset.sound}/sound`, { method: "POST", body });
      if (answer.ok) return done(form);
      const told = await answer.json();
      tell(form, told.what, told.way_out);
    } catch {
      tell(form, "The workshop's computer does not answer.", "Nothing was kept. Look whether it runs, and send it again.");
    }
    said.textContent = "";
  });
};
