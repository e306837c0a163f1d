// Asks our own server, every second or so, how often the blanket was changed; tells the page where another hand did it.
export default function ({ data: [data], parentElement, setTriggerValue }) {
  const holder = parentElement;
  clearInterval(holder.follow);
  let told = "", met = "";
  const look = async () => {
    // While a press is being answered what changed is our own, and asking for another answer would come between.
    if (document.hidden || document.querySelector('[data-test-script-state="running"], [data-test-script-state="rerunRequested"]')) return;
    try {
      const answer = await fetch(`${data.address}/follow`, { cache: "no-store" });
      const now = answer.ok ? await answer.text() : "";
      const seen = now ? JSON.parse(now) : null;
      if (seen && (seen.revision !== data.revision || seen.unsaved !== data.unsaved) && told !== now) {
        // Our own change is on its way as well; what is still unknown when asked again was another hand's.
        if (met === now) { told = now; setTriggerValue("changed", now); }
        met = now;
      }
    } catch {
      // The server is away; the page says so itself.
    }
  };
  holder.follow = setInterval(look, 800);
  const seen = () => document.hidden || look();
  document.addEventListener("visibilitychange", seen);
  return () => {
    clearInterval(holder.follow);
    document.removeEventListener("visibilitychange", seen);
  };
}
