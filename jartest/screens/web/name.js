// The name of the person at this device, kept in the browser so that it is asked once.
export default function (component) {
  const { data, setTriggerValue } = component;
  const KEY = "jartest.name";
  try {
    if (data.forget) window.localStorage.removeItem(KEY);
    else if (data.name) window.localStorage.setItem(KEY, data.name);
    else {
      const kept = window.localStorage.getItem(KEY);
      if (kept) setTriggerValue("kept", kept);
    }
  } catch (refused) {
    // A browser may forbid storage; the name is then asked again in the next session.
    console.info("jartest: this browser keeps no name", refused.name);
  }
}
