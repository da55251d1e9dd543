/* Only in pages a preview serves: loads the page anew when it changed, shows what is wrong with the files over it.
   News come as classic scripts, since the pages' policy lets them connect to nothing. */
(function () {
  "use strict";
  var me = document.currentScript;
  var home = me.src.replace(/script\.js.*$/, "");
  var site = me.dataset.site;
  var mark = "";
  var asking = false;
  var panel = null;

  function show(heading, problems) {
    if (panel) { panel.remove(); panel = null; }
    if (!heading) { return; }
    panel = document.createElement("section");
    panel.id = "preview-panel";
    panel.setAttribute("role", "alert");
    panel.style.cssText = "position:fixed;top:0;left:0;right:0;z-index:99;max-height:70vh;overflow:auto;padding:.8rem 1.5rem;" +
      "background:#fff;color:#1c1e21;border-bottom:4px solid #8c1d18;box-shadow:0 4px 16px #0006;font:.875rem/1.5 'Segoe UI',Roboto,'Liberation Sans',sans-serif";
    var hide = document.createElement("button");
    hide.type = "button";
    hide.textContent = "Hide";
    hide.style.cssText = "float:right;font:inherit;color:#0b5c63;background:#fff;border:1px solid #0b5c63;padding:.1rem .6rem";
    hide.addEventListener("click", function () { panel.hidden = true; });
    var title = document.createElement("strong");
    title.textContent = heading + ".";
    panel.append(hide, title);
    if (problems) {
      var text = document.createElement("pre");
      text.textContent = problems;
      text.tabIndex = 0;
      text.style.cssText = "margin:.4rem 0 0;white-space:pre-wrap;overflow-wrap:anywhere;font:.8125rem/1.5 'DejaVu Sans Mono',Consolas,monospace";
      panel.append(text);
    }
    document.body.append(panel);
  }

  window.sitegenPreview = function (news) {
    mark = news.mark;
    if (news.site !== site) { window.location.reload(); return; }
    show(news.heading, news.problems);
  };

  function ask() {
    if (asking || document.hidden) { return; } // a browser opens few connections: only what is looked at holds one
    asking = true;
    var script = document.createElement("script");
    script.src = home + "news.js?after=" + encodeURIComponent(mark);
    script.onload = function () { script.remove(); asking = false; ask(); };
    script.onerror = function () {
      script.remove();
      mark = "";
      show("The preview does not answer; this page is as it last was", "");
      window.setTimeout(function () { asking = false; ask(); }, 1000);
    };
    document.head.append(script);
  }
  // not before the page is loaded: a script that is waited for would keep it loading
  window.addEventListener("load", function () {
    window.setTimeout(function () {
      document.addEventListener("visibilitychange", ask);
      ask();
    }, 0);
  });
})();
