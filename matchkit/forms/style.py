"""How the forms look: one sheet for all, put into each of them."""

STYLE = """
.mk { --jp-widgets-font-size: 15px; --jp-widgets-inline-height: 34px;
  --jp-widgets-inline-width: 19em; max-width: 60em; font-size: 15px; line-height: 1.45;
  padding: 4px 4px 12px; overflow: visible; }
.mk .widget-html, .mk .widget-html-content { line-height: 1.45; font-size: 15px; height: auto;
  overflow: visible; }
.mk .widget-box { overflow: visible; min-width: 0; max-width: 100%; }
.mk .widget-html { min-width: 0; max-width: 100%; width: 100%; }
.mk .widget-html-content { min-width: 0; max-width: 100%; }
.mk-row > .widget-html { width: auto; }
.mk-scroll { overflow-x: auto; max-width: 100%; }
.mk h3 { font-size: 18px; margin: 14px 0 4px; }
.mk p { margin: 4px 0; max-width: 46em; }
.mk img { height: auto; margin: 6px 12px 6px 0; background: #fff; vertical-align: top; }
.mk-wide { width: 46em; max-width: 100%; display: block; }
.mk-half { width: 26em; max-width: 100%; }
.mk-row { flex-flow: row wrap; align-items: flex-start; gap: 4px 20px; }
.mk-field { margin: 2px 0; max-width: 100%; }
.mk-field > .widget-inline-hbox, .mk-field > .widget-inline-vbox { flex-direction: column;
  align-items: stretch; height: auto; max-width: 100%; }
.mk-field .widget-label { width: auto; text-align: left; height: auto; line-height: 1.3;
  white-space: normal; overflow: visible; font-weight: 600; padding: 2px 0; }
.mk-field select { flex: none; height: 36px; font-size: 15px; }
.mk-field .widget-slider { flex-flow: row wrap; }
.mk-field .widget-slider .widget-label { flex: 0 0 100%; }
.mk-field .widget-slider .slider-container { flex: 1 1 12em; height: 34px; display: flex;
  flex-direction: column; justify-content: center; }
.mk-short { width: max-content; } .mk-short .widget-text { width: auto; }
.mk-short input { width: 9em; align-self: flex-start; }
.mk .widget-checkbox { width: auto; min-width: 11em; height: auto; padding: 4px 0;
  margin: 0; line-height: 1.3; }
.mk .widget-checkbox label, .mk .widget-radio-box label { display: flex; align-items: center;
  gap: 8px; font-weight: normal; }
.mk .widget-radio-box label { flex-direction: row-reverse; justify-content: flex-end; }
.mk .mk-table .mk-w { min-width: 7em; }
.mk .mk-table td.mk-n { white-space: nowrap; }
.mk input[type=radio], .mk input[type=checkbox] { flex: none; margin: 0; align-self: center; }
.mk .widget-radio-box { flex-flow: row wrap; gap: 2px 18px; margin: 0; height: auto; }
.mk .widget-radio, .mk .widget-radio-box label { width: auto; }
.mk .widget-radio-box label { height: auto; min-height: 28px; line-height: 1.4; margin: 0; }
.mk input[type=radio], .mk input[type=checkbox] { width: 18px; height: 18px; }
.mk button.jupyter-button { height: auto; min-height: 36px; padding: 4px 16px; font-size: 15px;
  width: auto; max-width: 100%; white-space: normal; line-height: 1.3; align-self: flex-start;
  border: 1px solid currentColor; margin: 6px 8px 6px 0; }
.mk button.mk-main { background: #1d4e6b; color: #fff; border-color: #1d4e6b; font-weight: 600; }
.mk button:disabled { opacity: .45; }
.mk :focus-visible { outline: 3px solid #c2560c !important; outline-offset: 2px; }
.mk-alert, .mk-fault { border-left: 5px solid #a11212; padding: 4px 10px; background: #fdecec;
  color: #4a0808; max-width: 44em; }
.mk-fault { max-width: 20em; font-size: 14px; padding: 2px 8px; }
.mk-quiet { font-size: 14px; opacity: .85; }
.mk-done, .mk-look { padding: 4px 10px; max-width: 44em; overflow-wrap: anywhere; }
.mk-done { border-left: 5px solid #24613c; background: #eaf5ee; color: #12321f; }
.mk-look { border-left: 5px solid #a86a00; background: #fdf3dc; color: #3d2800; }
.mk progress { width: 18em; max-width: 100%; height: 14px; vertical-align: middle; }
.mk table.mk-table { border-collapse: collapse; margin: 8px 0; font-size: 15px; table-layout: auto;
  width: auto; max-width: 100%; }
.mk .mk-table caption { text-align: left; white-space: nowrap; font-weight: 600;
  padding: 2px 0; caption-side: top; }
.mk .mk-table th, .mk .mk-table td { text-align: left; padding: 4px 14px 4px 0; border: 0;
  border-bottom: 1px solid #b9bec3; vertical-align: top; font-weight: normal; max-width: 26em;
  white-space: normal; }
.mk .mk-table thead th { font-size: 14px; font-weight: 600; vertical-align: bottom; }
.mk .mk-table .mk-n { text-align: right; font-variant-numeric: tabular-nums; }
.mk-page iframe { width: 100%; max-width: 150mm; height: 36em; border: 1px solid #777;
  background: #fff; display: block; }
.mk-jobpage { max-width: 64em; margin: 0 auto; font-size: 16px; }
.mk-jobpage button.jupyter-button, .mk-jobpage button.jupyter-button.widget-toggle-button {
  min-height: 44px; }
.mk-jobpage select, .mk-jobpage input[type=text] { min-height: 44px; font-size: 16px; }
.mk-jobpage .widget-radio-box label, .mk-jobpage .widget-checkbox label { min-height: 44px; }
.mk-jobpage input[type=radio], .mk-jobpage input[type=checkbox] { width: 24px; height: 24px; }
.mk-steps .jupyter-button.mod-active { background: #1d4e6b; color: #fff; font-weight: 600; }
.mk-jobpage .mk-done, .mk-jobpage .mk-look { font-size: 19px; padding: 10px 14px; }
.mk-jobpage > .widget-html h2 { font-size: 24px; margin: 0; }
#rendered_cells > div { padding: 12px !important; }
@media (max-width: 500px) { .mk-jobpage { --jp-widgets-inline-width: 100%; }
  .mk-steps button.jupyter-button.widget-toggle-button { padding: 4px 8px; margin: 2px; } }
"""
