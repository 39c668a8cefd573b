// What does not wait for ever.

// inTime settles as a promise does, or fails after so many seconds. They are counted, not
// measured: while a device sleeps nothing is waited for.
export function inTime(seconds, promise, why) {
  return new Promise((resolve, reject) => {
    let left = seconds;
    const counting = setInterval(() => { if (--left < 0) reject(new Error(why)); }, 1000);
    promise.then(resolve, reject).finally(() => clearInterval(counting));
  });
}
