//! Study: the settings of one study, and the stages run in order.
