// The microphone as it is: no echo, noise or gain processing, its level, and what it takes down.
import { heardIn } from "./page.js";

const PCM = "audio/webm;codecs=pcm";
const TYPES = [PCM, "audio/webm;codecs=opus", "audio/ogg;codecs=opus", "audio/mp4"];
const db = (value) => 20 * Math.log10(Math.max(value, 1e-6));

export class Microphone {
  constructor(onLevel) {
    this.onLevel = onLevel;
    this.stream = null;
  }

  get isOpen() {
    return Boolean(this.stream?.active);
  }

  // Opens it, or another one; the person may be asked for leave. Rejects with an error whose name says why.
  async open(deviceId = "") {
    if (this.isOpen && (!deviceId || deviceId === this.deviceId)) return;
    if (!navigator.mediaDevices || !window.MediaRecorder) throw new DOMException("", "NotSupportedError");
    this.close();
    const plain = { echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: 1 };
    this.stream = await navigator.mediaDevices.getUserMedia({ audio: deviceId ? { ...plain, deviceId: { exact: deviceId } } : plain });
    this.deviceId = this.stream.getAudioTracks()[0].getSettings().deviceId || deviceId;
    this.context = new AudioContext();
    await this.context.resume();
    this.analyser = new AnalyserNode(this.context, { fftSize: 2048, smoothingTimeConstant: 0 });
    this.context.createMediaStreamSource(this.stream).connect(this.analyser);
    this.watch();
  }

  close() {
    this.stream?.getTracks().forEach((track) => track.stop());
    this.context?.close();
    this.stream = this.context = this.analyser = null;
  }

  async devices() {
    return (await navigator.mediaDevices.enumerateDevices()).filter((one) => one.kind === "audioinput" && one.deviceId);
  }

  watch() {
    const analyser = this.analyser;
    const samples = new Float32Array(analyser.fftSize);
    const look = () => {
      if (this.analyser !== analyser) return;
      analyser.getFloatTimeDomainData(samples);
      let peak = 0;
      let power = 0;
      for (const sample of samples) {
        peak = Math.max(peak, Math.abs(sample));
        power += sample * sample;
      }
      this.onLevel(db(peak), db(Math.sqrt(power / samples.length)));
      requestAnimationFrame(look);
    };
    look();
  }

  // Begins to take down; float samples as they are for a line, packed for a long reading.
  start(isLong = false) {
    const types = isLong ? TYPES.filter((type) => type !== PCM) : TYPES;
    const mimeType = types.find((type) => MediaRecorder.isTypeSupported(type));
    this.recorder = new MediaRecorder(this.stream, { ...(mimeType ? { mimeType } : {}), audioBitsPerSecond: 256000 });
    this.parts = [];
    this.recorder.ondataavailable = (event) => event.data.size && this.parts.push(event.data);
    const begun = new Promise((done) => (this.recorder.onstart = () => done(performance.now())));
    this.recorder.start(isLong ? 1000 : undefined);
    return begun;
  }

  // Ends, and gives what was taken down.
  stop() {
    return new Promise((done) => {
      const { recorder, parts } = this;
      recorder.onstop = () => done(new Blob(parts, { type: recorder.mimeType }));
      if (recorder.state === "inactive") recorder.onstop();
      else recorder.stop();
    });
  }
}

// Sends sound as it is; `told` hears which part of it has gone. Returns {status, body}.
export function upload(url, sound, told = () => {}) {
  return new Promise((done) => {
    const asked = new XMLHttpRequest();
    asked.open("POST", url);
    asked.setRequestHeader("Content-Type", "application/octet-stream");
    asked.upload.onprogress = (event) => event.lengthComputable && told(event.loaded / event.total);
    asked.onload = () => {
      let body = null;
      try {
        body = JSON.parse(asked.responseText);
      } catch {
        body = { error: asked.responseText };
      }
      heardIn(body?.error, body?.lang);
      done({ status: asked.status, body });
    };
    asked.onerror = asked.onabort = () => done({ status: 0, body: null });
    asked.send(sound);
  });
}
