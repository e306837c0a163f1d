// What the picture and the shelf make their parts with; it stands before their own scripts.
const fill = (text, values) => String(text).replace(/\{(\w+)\}/g, (_, k) => values[k]);
const svg = (name, attrs, ...inner) => {
  const made = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const key in attrs) made.setAttribute(key, attrs[key]);
  made.append(...inner);
  return made;
};
const el = (name, attrs = {}, ...inner) => {
  const made = document.createElement(name);
  for (const key in attrs) {
    if (key === "class") made.className = attrs[key];
    else if (key === "text") made.textContent = attrs[key];
    else if (key.startsWith("on")) made.addEventListener(key.slice(2), attrs[key]);
    else if (attrs[key] !== null && attrs[key] !== false) made.setAttribute(key, attrs[key]);
  }
  made.append(...inner);
  return made;
};
