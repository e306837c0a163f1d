// The work in hand, kept in this tab of the maker's own browser while the page is served to others.
// The tab's own storage survives a refresh and a crash, is never shared with another tab, and ends with the tab.
export default function (component) {
  const [data] = component.data ?? [], { setTriggerValue } = component;
  if (!data) return;
  const name = "blendplan-work";
  try {
    if (data.work) {
      if (window.sessionStorage.getItem(name) !== data.work) window.sessionStorage.setItem(name, data.work);
    } else {
      const kept = window.sessionStorage.getItem(name);
      if (kept) setTriggerValue("kept", kept);
    }
  } catch {
    // The browser keeps nothing, or too little: an older state must not come back in its place.
    try { window.sessionStorage.removeItem(name); } catch { /* nothing is kept at all */ }
    if (data.work && !data.refused) setTriggerValue("refused", true);
  }
}
